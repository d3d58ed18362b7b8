"""A series of skews made ready for fitting: what is set aside, and why. Nothing is dropped silently."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from coincide.timing.level import MOST_SHOTS, TIME_CONSTANTS, warm_up

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.intp]

FAR_OUT = 7.0  # robust standard deviations; see `far_out`
LONG_REST = 5.0  # a rest this many times the usual one makes the next shot a first shot
MOST_OUTLIERS = 0.1  # beyond this share they are not outliers but part of how the body behaves


@dataclass(frozen=True, slots=True)
class Series:
    """Skews of one series, sorted out. Indices are rows of the arrays given.

    used: rows the fit may use, in order. skew_s, x: their skews before any offset, and their times as
    fractions of the series before its end (-1 to 0). first: rows after a rest. outliers: rows far from all
    others. missed: rows without a skew. spacing_x: usual time between shots in units of x. span_s: last
    minus first start (shots minus one where no times are known).
    """

    used: Indices
    skew_s: Floats
    x: Floats
    first: Indices
    outliers: Indices
    missed: Indices
    spacing_x: float
    span_s: float


def sort_out(
    skew_s: Floats,
    *,
    offset_s: npt.ArrayLike = 0.0,
    start_s: Floats | None = None,
    rest_s: Floats | None = None,
) -> Series:
    """Sort out skews (n,), seconds, NaN where a body did not answer, measured with `offset_s` on ((n,) or
    one).

    Skew plus the offset then on is what the bodies do by themselves. The first shot, and any after a rest
    of more than LONG_REST times the usual, is set aside: bodies often answer it differently, and one shot
    in twenty costs the interval only 3 % of its width.
    """
    natural = np.asarray(skew_s, dtype=np.float64) + np.asarray(offset_s, dtype=np.float64)
    seen = np.isfinite(natural)
    count = natural.size
    clock = np.arange(count, dtype=np.float64) if start_s is None else np.asarray(start_s, dtype=np.float64)
    span = float(clock[-1] - clock[0]) if count > 1 else 0.0
    x = (clock - clock[-1]) / span if span > 0 else np.zeros(count)
    first = after_rest(count, rest_s)
    usable = seen & ~first
    far = np.zeros(count, dtype=np.bool_)
    if usable.sum() >= 5:
        far[usable] = far_out(natural[usable], x[usable])
    used = np.flatnonzero(usable & ~far)
    return Series(
        used=used,
        skew_s=natural[used],
        x=x[used],
        first=np.flatnonzero(first & seen),
        outliers=np.flatnonzero(far),
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


def far_out(skew_s: Floats, x: Floats) -> npt.NDArray[np.bool_]:
    """Shots more than FAR_OUT robust deviations (1.4826 MAD) from the best robust warm-up curve, (n,).

    Gaussian series lose a shot in about 1 of 300 series of 20 this way, polling series in fewer. More than
    MOST_OUTLIERS of the shots is no outlier but a habit: then none is flagged and the shape test sees them
    all.
    """
    rest = _robust_rest(skew_s, x)
    deviation = special_mad(rest)
    far = np.abs(rest) > FAR_OUT * deviation if deviation > 0 else np.zeros(rest.size, dtype=np.bool_)
    return far if far.sum() <= max(1.0, MOST_OUTLIERS * far.size) else np.zeros_like(far)


def special_mad(rest: Floats) -> float:
    """Median absolute value over that of a standard normal."""
    return float(np.median(np.abs(rest))) / float(special.ndtri(0.75))


def _robust_rest(skew_s: Floats, x: Floats) -> Floats:
    """Residuals from the level or warm-up curve that leaves the smallest median absolute residual.

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
    curve = level[best] + change[best] * warm_up(x, constants[best])
    return np.asarray(skew_s - curve, dtype=np.float64)
