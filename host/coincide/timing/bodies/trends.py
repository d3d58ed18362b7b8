"""How a body's lag moves in time: drift through the series, first shots after a rest, the pace of firing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from coincide.timing.offset.level import draw_level

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

MOST_PAIRWISE = 1500  # Theil-Sen and Kendall look at every pair of shots; beyond this, at medians of blocks
ALARM = 0.01  # chance of each finding here in a body that has nothing of the kind
LEAST_SHOTS = 8
MOST_FITTED = 200  # shots, or blocks of them, whose movement is fitted
MOVED = 0.99  # of a series that Kendall's test finds moving


@dataclass(frozen=True, slots=True)
class Drift:
    """Change over the whole series in seconds (end less start), its 95 % interval, Kendall's tau and
    p-value that there is any."""

    change_s: float
    interval_s: tuple[float, float]
    tau: float
    p: float


@dataclass(frozen=True, slots=True)
class FirstShot:
    """A shot after a rest: row, how much later than the others it came (s), and what is usual (95 %, s)."""

    row: int
    late_s: float
    usual_s: float


@dataclass(frozen=True, slots=True)
class Pace:
    """Lag against the rest before the shot: slope (s per s) with its 95 % interval, Kendall's p-value, and
    the shortest and longest usual rest seen (s)."""

    slope: float
    interval: tuple[float, float]
    p: float
    rest_s: tuple[float, float]


def find_drift(lag_s: Floats, start_s: Floats) -> Drift | None:
    """How far the lags (n,) moved over their times (n,), NaN left out, and Kendall's tau.

    None unless Kendall's p is below ALARM. The change and its interval come from the posterior of level.py, whose
    warm-ups bend: a straight line through one that saturates overstates what is left and understates the whole. More
    than MOST_FITTED shots are first brought down to medians of blocks. Time O(min(n, MOST_PAIRWISE)**2).
    """
    seen = np.isfinite(lag_s) & np.isfinite(start_s)
    if seen.sum() < LEAST_SHOTS or np.ptp(start_s[seen]) == 0 or np.ptp(lag_s[seen]) == 0:
        return None
    when, lag = _in_blocks(start_s[seen], lag_s[seen])
    kendall = stats.kendalltau(when, lag)
    tau, p = float(kendall.statistic), float(kendall.pvalue)
    if not p < ALARM:
        return None
    if when.size > MOST_FITTED:
        when, lag = _block_medians(when, lag, MOST_FITTED)
    draws = draw_level(lag, (when - when[-1]) / float(np.ptp(when)), drift_prior=MOVED)
    low, middle, high = (float(value) for value in draws.quantile(-draws.change_s, (0.025, 0.5, 0.975)))
    return Drift(middle, (low, high), tau, p)


def find_first_shot(lag_s: Floats, first: Flags) -> FirstShot | None:
    """The shot after a rest (`first` (n,)) that stands farthest outside what the others foretell, or None.

    Judged by the two-sided prediction interval of one more shot, mean +- t s sqrt(1 + 1/n), at ALARM over the
    number of first shots (Bonferroni). Others beyond 5 robust deviations are not let into mean and s.
    """
    rows = np.flatnonzero(first & np.isfinite(lag_s))
    others = lag_s[~first & np.isfinite(lag_s)]
    if rows.size == 0 or others.size < LEAST_SHOTS:
        return None
    robust = float(stats.median_abs_deviation(others, scale="normal"))
    others = others[np.abs(others - np.median(others)) <= 5.0 * robust] if robust > 0 else others
    spread = float(np.std(others, ddof=1)) * np.sqrt(1.0 + 1.0 / others.size)
    late = lag_s[rows] - float(np.mean(others))
    worst = int(np.argmax(np.abs(late)))
    limit = float(stats.t.ppf(1.0 - ALARM / rows.size / 2.0, others.size - 1)) * spread
    if abs(late[worst]) <= limit:
        return None
    usual = float(stats.t.ppf(0.975, others.size - 1)) * spread
    return FirstShot(int(rows[worst]), float(late[worst]), usual)


def find_pace(lag_s: Floats, rest_s: Floats) -> Pace | None:
    """Does the lag depend on the rest before the shot? Lags and rests (n,), drift and first shots already
    out.

    None unless the rests differ by a tenth and Kendall's p is below ALARM.
    """
    seen = np.isfinite(lag_s) & np.isfinite(rest_s)
    if seen.sum() < LEAST_SHOTS:
        return None
    rest, lag = rest_s[seen], lag_s[seen]
    usual = np.quantile(rest, (0.05, 0.95))
    if usual[1] - usual[0] < 0.1 * float(np.median(rest)) or np.ptp(lag) == 0:
        return None
    order = np.argsort(rest, kind="stable")
    when, what = _in_blocks(rest[order], lag[order])
    if np.ptp(when) == 0:
        return None
    kendall = stats.kendalltau(when, what)
    if not float(kendall.pvalue) < ALARM:
        return None
    slope, _, low, high = (float(value) for value in stats.theilslopes(what, when, 0.95))
    return Pace(slope, (low, high), float(kendall.pvalue), (float(usual[0]), float(usual[1])))


def without_drift(lag_s: Floats, start_s: Floats) -> Floats:
    """Lags less their running median over a fifth of the series, NaN kept: what is left when any slow change
    is gone. Long series go by blocks."""
    seen = np.flatnonzero(np.isfinite(lag_s) & np.isfinite(start_s))
    if seen.size < LEAST_SHOTS:
        return lag_s - np.nanmedian(lag_s) if seen.size else lag_s
    blocks = min(5, seen.size // 8)
    out = np.full_like(lag_s, np.nan)
    if blocks < 2:
        out[seen] = lag_s[seen] - np.median(lag_s[seen])
        return out
    when, level = _block_medians(start_s[seen], lag_s[seen], blocks)
    out[seen] = lag_s[seen] - np.interp(start_s[seen], when, level)
    return out


def _in_blocks(when: Floats, what: Floats) -> tuple[Floats, Floats]:
    return (when, what) if when.size <= MOST_PAIRWISE else _block_medians(when, what, MOST_PAIRWISE)


def _block_medians(when: Floats, what: Floats, blocks: int) -> tuple[Floats, Floats]:
    size = when.size // blocks
    keep = size * blocks
    middle = np.median(when[:keep].reshape(blocks, size), axis=1)
    return middle, np.median(what[:keep].reshape(blocks, size), axis=1)
