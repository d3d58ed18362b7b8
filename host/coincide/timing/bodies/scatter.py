"""What the scatter of a body's lag looks like: a polling body, steps, two humps, shots far from all
others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from coincide.timing.offset.level import draw_level
from coincide.timing.offset.series import FAR_OUT

Floats = npt.NDArray[np.float64]

ALARM = 0.01  # chance of finding polling, or steps, in a gaussian body; shown by simulation in the tests
LEAST_SHOTS = 20
MOST_SHOTS = 1000
LEAST_HUMP = 0.1  # share of the shots below which a second hump is a few outliers
APART = 4.8
VALLEY = 0.5  # the density between two humps falls below this part of the lower one


@dataclass(frozen=True, slots=True)
class Polling:
    """A body that looks at its release only every so often: the period and its 95 % interval (s), Kurtosis
    test's p-value."""

    period_s: float
    interval_s: tuple[float, float]
    p: float


@dataclass(frozen=True, slots=True)
class Steps:
    """Lags that lie on a ladder: the step (s), and how sharply (0 to 1: length of the mean phase)."""

    step_s: float
    sharpness: float


@dataclass(frozen=True, slots=True)
class Humps:
    """Two humps: centres (s), lower first, and the share of shots in the upper one."""

    centres_s: tuple[float, float]
    upper_share: float


def find_polling(lag_s: Floats) -> Polling | None:
    """A flat-topped scatter: Anscombe and Glynn's kurtosis test, one-sided, at ALARM; lags (n,) free of
    drift.

    The period's interval comes from the posterior of `level.py`, which has the rectangle in it.
    """
    lag = _recent(lag_s)
    if lag.size < LEAST_SHOTS or np.ptp(lag) == 0:
        return None
    p = float(stats.kurtosistest(lag, alternative="less").pvalue)
    if not p < ALARM:
        return None
    draws = draw_level(lag, np.linspace(-1.0, 0.0, lag.size), drift_prior=0.0)
    low, middle, high = draws.quantile(2.0 * draws.half * draws.sigma_s, (0.025, 0.5, 0.975))
    return Polling(float(middle), (float(low), float(high)), p)


def find_steps(lag_s: Floats) -> Steps | None:
    """Lags on a ladder: the step whose phases agree best, if better than chance at ALARM.

    Rayleigh's test at each of the steps from a twentieth to a third of the spread: n R**2 is exponential by
    chance, and M independent steps give a false alarm at n R**2 > ln(M / ALARM). A third, because a smooth
    scatter has phases of its own at longer steps.
    """
    lag = _recent(lag_s)
    spread = float(np.quantile(lag, 0.95) - np.quantile(lag, 0.05)) if lag.size else 0.0
    if lag.size < LEAST_SHOTS or spread == 0.0:
        return None
    rate = np.arange(3.0, 20.0, 0.1) / spread
    length = np.abs(np.exp(2j * np.pi * rate[:, None] * lag).mean(axis=1))
    best = int(np.argmax(length))
    # Rates a full range apart are independent: about one in each 1 / (largest less smallest lag).
    independent = 1.0 + (rate[-1] - rate[0]) * np.ptp(lag)
    if lag.size * length[best] ** 2 <= np.log(2.0 * independent / ALARM):
        return None
    return Steps(float(1.0 / rate[best]), float(length[best]))


def find_humps(lag_s: Floats) -> Humps | None:
    """Two humps: the split that leaves least within, both sides of weight, a deep valley between.

    The split is Otsu's (least within-group sum of squares). It counts when each side has LEAST_HUMP of the
    shots and the smoothed density in the gap is below VALLEY of the lower hump, and the gap exceeds by far
    what a rectangle or a normal shows by chance (centres APART within-group deviations apart; a rectangle's
    halves are 3.5).
    """
    lag = np.sort(_recent(lag_s))
    n = lag.size
    if n < LEAST_SHOTS or np.ptp(lag) == 0:
        return None
    below = np.arange(1, n)
    sums, squares = np.cumsum(lag)[:-1], np.cumsum(lag * lag)[:-1]
    inside = squares - sums**2 / below
    inside += (np.sum(lag * lag) - squares) - (lag.sum() - sums) ** 2 / (n - below)
    weighty = (below >= LEAST_HUMP * n) & (below <= (1.0 - LEAST_HUMP) * n) & (below >= 3) & (below <= n - 3)
    if not weighty.any():
        return None
    split = int(below[weighty][np.argmin(inside[weighty])])
    low, high = lag[:split], lag[split:]
    within = float(np.sqrt(max(inside[split - 1], 0.0) / (n - 2)))
    centres = (float(np.median(low)), float(np.median(high)))
    if within > 0:
        if (centres[1] - centres[0]) / within < APART:
            return None
        density = stats.gaussian_kde(lag, 0.5 * within / float(np.std(lag, ddof=1)))
        path = density(np.linspace(centres[0], centres[1], 41))
        if path.min() > VALLEY * min(path[0], path[-1]):
            return None
    return Humps(centres, high.size / n)


def find_far_out(lag_s: Floats) -> npt.NDArray[np.intp]:
    """Rows of lags (n,), free of drift, more than FAR_OUT robust deviations from the median."""
    seen = lag_s[np.isfinite(lag_s)]
    if seen.size < 5:
        return np.zeros(0, dtype=np.intp)
    robust = float(stats.median_abs_deviation(seen, scale="normal"))
    if robust == 0.0:
        return np.zeros(0, dtype=np.intp)
    return np.flatnonzero(np.abs(lag_s - np.median(seen)) > FAR_OUT * robust)


def _recent(lag_s: Floats) -> Floats:
    """The last MOST_SHOTS seen, less those far out."""
    seen = lag_s[np.isfinite(lag_s)][-MOST_SHOTS:]
    keep = np.ones(seen.size, dtype=np.bool_)
    keep[find_far_out(seen)] = False
    return np.asarray(seen[keep], dtype=np.float64)
