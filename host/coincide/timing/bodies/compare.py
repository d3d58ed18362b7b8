"""Two series of the same body: did what was changed in between move its lag, or its jitter?

Location: Hodges-Lehmann shift (median of all differences, Lehmann 1975) with Moses' interval from the
Mann-Whitney distribution, and a permutation test of the difference of medians. Scale: ratio of the median
absolute deviations with a bootstrap interval, and the Brown-Forsythe test (Levene's about the median).
SciPy does the tests. All of these take the shots as independent of their order; where a test finds that they are not
(timing/order.py), intervals and p-values are those of as many independent shots as they are worth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from coincide.errors import BadInput
from coincide.timing.order import worth

Floats = npt.NDArray[np.float64]

LEAST_SHOTS = 5
MOST_SHOTS = 1000
RESAMPLES = 4000
IN_CACHE = 30_000  # values
AT_ONCE = 400_000  # values of resamples held at a time


@dataclass(frozen=True, slots=True)
class Comparison:
    """Series two against series one. shift_s: by how much two is later, with its 95 % interval and the
    permutation test's p-value; shift_in_jitters: the same over the pooled robust deviation (effect size).
    scale_ratio: spread of two over spread of one, 95 % interval, p-value. shots: how many of each;
    worth: share of each that as many independent ones would be worth."""

    shift_s: float
    shift_interval_s: tuple[float, float]
    shift_p: float
    shift_in_jitters: float
    scale_ratio: float
    scale_interval: tuple[float, float]
    scale_p: float
    shots: tuple[int, int]
    worth: tuple[float, float] = (1.0, 1.0)

    @property
    def in_order(self) -> bool:
        """In either series the shots depend on their order."""
        return min(self.worth) < 1.0

    @property
    def shifted(self) -> bool:
        """The interval leaves zero out."""
        return self.shift_interval_s[0] > 0.0 or self.shift_interval_s[1] < 0.0

    @property
    def spread_changed(self) -> bool:
        """The interval leaves one out."""
        return self.scale_interval[0] > 1.0 or self.scale_interval[1] < 1.0


def compare_series(one_s: Floats, two_s: Floats, *, seed: int = 516) -> Comparison:
    """Compare two series of lags or skews, (n,) and (m,), seconds; NaN is left out.

    Beyond MOST_SHOTS each, only the last are compared. Raises BadInput with fewer than LEAST_SHOTS in either.
    """
    one, two = one_s[np.isfinite(one_s)][-MOST_SHOTS:], two_s[np.isfinite(two_s)][-MOST_SHOTS:]
    if min(one.size, two.size) < LEAST_SHOTS:
        raise BadInput(
            f"The series have {one.size} and {two.size} shots that were measured; comparing needs at least "
            f"{LEAST_SHOTS} of each. Fire more."
        )
    rng = np.random.default_rng(seed)
    gaps = np.sort((two[:, None] - one).ravel())
    low, high = _moses(gaps, one.size, two.size)
    shift = float(np.median(gaps))
    spreads = _spread(one), _spread(two)
    pooled = float(np.sqrt((spreads[0] ** 2 + spreads[1] ** 2) / 2.0))
    ratio, interval = scale_ratio(one, two, rng)
    found = Comparison(
        shift_s=shift,
        shift_interval_s=(low, high),
        shift_p=_permutation_p(one, two, rng),
        shift_in_jitters=shift / pooled
        if pooled > 0
        else 0.0
        if shift == 0
        else float(np.inf) * np.sign(shift),
        scale_ratio=ratio,
        scale_interval=interval,
        scale_p=_scale_p(one, two),
        shots=(one.size, two.size),
        worth=(worth(one), worth(two)),
    )
    return found if not found.in_order else _of_fewer(found)


def _of_fewer(found: Comparison) -> Comparison:
    """The same with intervals, and p-values by the normal distribution, for the shots that these are worth."""
    counts = np.array(found.shots, dtype=np.float64)
    share = np.array(found.worth)
    wider = float(np.sqrt(np.sum(1.0 / (counts * share)) / np.sum(1.0 / counts)))
    low, high = (found.shift_s + wider * (end - found.shift_s) for end in found.shift_interval_s)
    # Neighbours' squares correlate by the square of what their values do: their worth is less reduced.
    like = ((1.0 - share) / (1.0 + share)) ** 2
    of_squares = (1.0 - like) / (1.0 + like)
    wider = float(np.sqrt(np.sum(1.0 / (counts * of_squares)) / np.sum(1.0 / counts)))
    scale = found.scale_interval
    if 0.0 < found.scale_ratio < np.inf and scale[0] > 0.0:
        scale = (
            found.scale_ratio * (scale[0] / found.scale_ratio) ** wider,
            found.scale_ratio * (scale[1] / found.scale_ratio) ** wider,
        )
    return replace(
        found,
        shift_interval_s=(low, high),
        shift_p=_normal_p(found.shift_s, high - low),
        scale_interval=scale,
        scale_p=found.scale_p
        if not scale[0] > 0
        else _normal_p(np.log(found.scale_ratio), np.log(scale[1] / scale[0])),
    )


def _normal_p(value: float, width: float) -> float:
    """Two-sided, of a value whose 95 % interval is so wide."""
    return float(2.0 * stats.norm.sf(abs(value) / (width / (2.0 * 1.96)))) if width > 0 else 0.0


def _moses(gaps: Floats, n: int, m: int) -> tuple[float, float]:
    """Interval for the shift: the k-th smallest and largest difference, k by the normal approximation of the
    Mann-Whitney distribution with continuity correction (Hollander and Wolfe, 4.3)."""
    centre, spread = n * m / 2.0, np.sqrt(n * m * (n + m + 1) / 12.0)
    k = max(int(np.floor(centre - float(special.ndtri(0.975)) * spread - 0.5)), 0)
    return float(gaps[k]), float(gaps[gaps.size - 1 - k])


def _permutation_p(one: Floats, two: Floats, rng: np.random.Generator) -> float:
    """Two-sided p of the difference of medians under exchange of labels, drawn RESAMPLES times."""
    test = stats.permutation_test(
        (one, two),
        lambda x, y, axis: np.median(y, axis=axis) - np.median(x, axis=axis),
        n_resamples=RESAMPLES,
        batch=max(AT_ONCE // (one.size + two.size), 1),
        vectorized=True,
        rng=rng,
    )
    return float(test.pvalue)


def scale_ratio(one: Floats, two: Floats, rng: np.random.Generator) -> tuple[float, tuple[float, float]]:
    """Ratio of the spreads about the median (mean absolute deviations); interval by bootstrap of its logarithm."""
    first, second = _spread(one), _spread(two)
    if first == 0.0 or second == 0.0:
        ratio = 1.0 if first == second else np.inf if first == 0.0 else 0.0
        return float(ratio), (0.0, float(np.inf))
    drawn_one, drawn_two = (_drawn_spreads(np.sort(each), rng) for each in (one, two))
    log = np.log(np.maximum(drawn_two, 1e-300) / np.maximum(drawn_one, 1e-300))
    centre, spread = np.log(second / first), float(np.std(log))
    # Student's t for the smaller series: the bootstrap of a spread is too narrow by about this.
    reach = float(stats.t.ppf(0.975, min(one.size, two.size) - 1)) * spread
    return float(np.exp(centre)), (float(np.exp(centre - reach)), float(np.exp(centre + reach)))


def _drawn_spreads(ordered: Floats, rng: np.random.Generator) -> Floats:
    """Spreads of RESAMPLES / 2 resamples of values in rising order. There the median of a resample is the value at the
    median of its indices, which are small whole numbers and quickly put in order; in portions the cache holds."""
    n = ordered.size
    middle = [(n - 1) // 2, n // 2]
    spreads = []
    most = max(IN_CACHE // n, 1)
    for begin in range(0, RESAMPLES // 2, most):
        drawn = rng.integers(0, n, (min(most, RESAMPLES // 2 - begin), n), dtype=np.uint16)
        ranks = np.partition(drawn, middle, axis=-1)[:, middle]
        off = ordered[drawn] - ordered[ranks].mean(axis=-1, keepdims=True)
        spreads.append(np.abs(off, out=off).mean(axis=-1))
    return np.asarray(np.concatenate(spreads) * np.sqrt(np.pi / 2.0))


def _spread(values: Floats) -> npt.NDArray[np.float64]:
    """Mean absolute deviation about the median, scaled to a normal's standard deviation."""
    off = values - np.median(values, axis=-1, keepdims=True)
    return np.asarray(np.abs(off, out=off).mean(axis=-1) * np.sqrt(np.pi / 2.0))


def _scale_p(one: Floats, two: Floats) -> float:
    """Brown-Forsythe."""
    if np.ptp(one) == 0.0 and np.ptp(two) == 0.0:
        return 1.0
    return float(stats.levene(one, two, center="median").pvalue)
