"""A series of skews made ready for fitting: what is set aside, and why. Nothing is dropped silently."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from coincide.timing.offset.level import MOST_SHOTS, TIME_CONSTANTS, warm_up

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

FAR_OUT = 7.0  # robust standard deviations; see `far_out`
DIFFERS = 0.05  # chance that a first shot like the others is left out for standing off
WARMS = 0.01  # chance that a steady series is taken to warm up where its first shot is foretold
LONG_REST = 5.0  # a rest this many times the usual one makes the next shot a first shot
FAR_BY_CHANCE = 0.01  # chance that a gaussian series has a shot set aside as far
MOST_OUTLIERS = 0.1  # beyond this share they are not outliers but part of how the body behaves


@dataclass(frozen=True, slots=True)
class Series:
    """Skews of one series, sorted out. Indices are rows of the arrays given.

    used: rows the fit may use, in order. skew_s, x: their skews before any offset, and their times as
    fractions of the series before its end (-1 to 0). first: rows after a rest. outliers: rows far from all
    others; far_s: their skews before any offset. missed: rows without a skew. spacing_x: usual time between shots in
    units of x. span_s: last minus first start (shots minus one where no times are known).
    """

    used: Indices
    skew_s: Floats
    x: Floats
    first: Indices
    differing: Indices
    outliers: Indices
    far_s: Floats
    missed: Indices
    spacing_x: float
    span_s: float


def sort_out(
    skew_s: Floats,
    *,
    step_s: float,
    offset_s: npt.ArrayLike = 0.0,
    start_s: Floats | None = None,
    rest_s: Floats | None = None,
    keep_first: bool = True,
) -> Series:
    """Sort out skews (n,), seconds, NaN where a body did not answer, measured with `offset_s` on ((n,) or
    one).

    Skew plus the offset then on is what the bodies do by themselves. Each is dithered by half a step of the
    box, `step_s`, either way: rounding hid as much, and identical shots must not claim certainty. The first
    shot, and any after a rest of more than LONG_REST times the usual, is left out when it lies outside what the
    others foretell (see `_unlike_the_others`), always with `keep_first` off: bodies often answer it differently.
    One that is only a little off and kept moves the centre by about two nths of a deviation, half the centre's
    uncertainty at 20 shots.
    """
    dither = step_s * np.random.default_rng(8).uniform(-0.5, 0.5, np.size(skew_s))
    natural = np.asarray(skew_s, dtype=np.float64) + np.asarray(offset_s, dtype=np.float64) + dither
    seen = np.isfinite(natural)
    count = natural.size
    clock = np.arange(count, dtype=np.float64) if start_s is None else np.asarray(start_s, dtype=np.float64)
    span = float(clock[-1] - clock[0]) if count > 1 else 0.0
    x = (clock - clock[-1]) / span if span > 0 else np.zeros(count)
    first = after_rest(count, rest_s)
    differing, far = first.copy(), np.zeros(count, dtype=np.bool_)
    steady = seen & ~first
    if steady.sum() >= 5:
        off = _standing_off(natural, x, steady)
        far = steady & (off > FAR_OUT)
        if far.sum() > max(1.0, MOST_OUTLIERS * steady.sum()):
            far[:] = False
        if far.any():
            # Seven deviations of a dozen shots are no rarity: the others must foretell it, too.
            far &= _unlike_the_others(natural, x, steady & ~far, FAR_BY_CHANCE / steady.sum())
        if keep_first:
            differing = first & _unlike_the_others(natural, x, steady & ~far, DIFFERS)
    used = np.flatnonzero(seen & ~differing & ~far)
    return Series(
        used=used,
        skew_s=natural[used],
        x=x[used],
        first=np.flatnonzero(first & seen),
        differing=np.flatnonzero(differing & seen),
        outliers=np.flatnonzero(far),
        far_s=natural[far],
        missed=np.flatnonzero(~seen),
        spacing_x=float(np.median(np.diff(x))) if count > 1 else 0.0,
        span_s=span,
    )


def after_rest(count: int, rest_s: Floats | None) -> npt.NDArray[np.bool_]:
    """Which shots follow a rest: the first, and any whose rest is LONG_REST times the median rest."""
    first = np.zeros(count, dtype=np.bool_)
    first[:1] = True
    if rest_s is not None and np.isfinite(rest_s).sum() >= 3:
        rest = np.asarray(rest_s, dtype=np.float64)
        long = rest > LONG_REST * np.nanmedian(rest)
        if long.sum() <= MOST_OUTLIERS * count:
            first |= long
    return first


def _unlike_the_others(
    skew_s: Floats, x: Floats, others: npt.NDArray[np.bool_], chance: float
) -> npt.NDArray[np.bool_]:
    """Which shots (n,) lie outside the prediction interval that `others` give for one more, at `chance`: about their
    mean, or about the warm-up that explains them best where it earns its amount and time constant by an F test at
    WARMS (Draper and Smith, Applied Regression Analysis, memory)."""
    y, when = skew_s[others][-MOST_SHOTS:], x[others][-MOST_SHOTS:]
    count, mean = y.size, float(y.mean())
    basis = warm_up(when[None, :], np.array(TIME_CONSTANTS)[:, None])
    middle = basis.mean(axis=1, keepdims=True)
    squares = ((basis - middle) ** 2).sum(axis=1)
    change = (basis - middle) @ (y - mean) / np.maximum(squares, 1e-12)
    plain = float(((y - mean) ** 2).sum())
    left = plain - change**2 * squares
    best = int(np.argmin(left))
    free = count - 3
    if free >= 1 and plain - left[best] > 2.0 * float(stats.f.isf(WARMS, 2, free)) * left[best] / free:
        place = warm_up(x, np.asarray(TIME_CONSTANTS[best])) - middle[best]
        off, variance = skew_s - mean - change[best] * place, left[best] / free
        spread = 1.0 + 1.0 / count + place**2 / squares[best]
    else:
        free = count - 1
        off, variance, spread = skew_s - mean, plain / free, np.full(x.size, 1.0 + 1.0 / count)
    limit = float(stats.t.isf(0.5 * chance, free)) * np.sqrt(variance * spread)
    return np.asarray(np.abs(off) > limit, dtype=np.bool_)


def _standing_off(skew_s: Floats, x: Floats, steady: npt.NDArray[np.bool_]) -> Floats:
    """How far each shot (n,) lies from the best robust warm-up curve through the steady ones, in their robust
    standard deviations (1.4826 MAD); NaN where there is no skew.

    Beyond FAR_OUT, gaussian series lose a shot in fewer than 1 of 100 series of 20, polling series in none; of eight
    shots a quarter of all series would, so what the others foretell is asked as well.
    More than MOST_OUTLIERS of the shots is no outlier but a habit: then none is flagged and the shape test
    sees them.
    """
    curve = _robust_curve(skew_s[steady], x[steady])
    rest = np.abs(skew_s - curve(x))
    deviation = float(np.median(rest[steady])) / float(special.ndtri(0.75))
    return np.asarray(rest / deviation if deviation > 0 else np.zeros_like(rest), dtype=np.float64)


def _robust_curve(skew_s: Floats, x: Floats) -> Callable[[Floats], Floats]:
    """The level or warm-up curve that leaves the smallest median absolute residual.

    Each curve is fitted by reweighted least squares with Cauchy weights, which a few wild shots cannot pull.
    A long series is judged against its last MOST_SHOTS, as the fit is.
    """
    constants = np.array([np.inf, *TIME_CONSTANTS])
    tail = slice(-MOST_SHOTS, None)
    y, time = skew_s[tail], x[tail]
    basis = warm_up(time[None, :], constants[:, None])
    level = np.full(constants.size, np.median(y))
    change = np.zeros(constants.size)
    for _ in range(25):
        rest = y - level[:, None] - change[:, None] * basis
        spread = np.maximum(np.median(np.abs(rest), axis=1, keepdims=True), 1e-12)
        weight = 1.0 / (1.0 + (rest / (3.0 * spread)) ** 2)
        weight /= weight.sum(axis=1, keepdims=True)
        mean_basis = (weight * basis).sum(axis=1)
        mean_y = (weight * y).sum(axis=1)
        centred = basis - mean_basis[:, None]
        against = (weight * centred * centred).sum(axis=1)
        change = np.where(
            against > 1e-12, (weight * centred * y).sum(axis=1) / np.maximum(against, 1e-12), 0.0
        )
        level = mean_y - change * mean_basis
    rest = y - level[:, None] - change[:, None] * basis
    spread = np.median(np.abs(rest), axis=1)
    # A curve must earn its place: a tenth less scatter than no curve at all.
    best = int(np.argmin(np.where(np.isfinite(constants), spread / 0.9, spread)))
    return lambda when: np.asarray(level[best] + change[best] * warm_up(when, constants[best]))
