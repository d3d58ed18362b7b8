"""The offset when the scatter is not one symmetric hump: kernel-smoothed keepers, bootstrapped.

A skewed or two-humped scatter has no centre worth the name. Here the shots, brought to the end of the
series by taking off the fitted drift, are smoothed with a normal kernel, and the offset is the one whose
+-tolerance window holds most of that density. The bandwidth is chosen by leave-one-out likelihood.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from coincide.timing.offset.level import LevelDraws, warm_up
from coincide.timing.offset.proof import shots_for_extremes
from coincide.timing.offset.series import Series
from coincide.timing.offset.shape import log_density

Floats = npt.NDArray[np.float64]

RESAMPLES = 400
MOST_SHOTS = 300
BANDWIDTHS = (0.1, 0.15, 0.22, 0.33, 0.5, 0.7)  # of the standard deviation
LEAD = 3.5  # nats by which the kernel must beat the fitted shape, shot by shot left out, to be preferred
DRIFT_LEAD = 3.0  # more where a drift was taken off first: two parameters that the kernel got for nothing
AS_GOOD = 1.96
PLATEAU = 1e-3  # share that offsets on top of the curve may differ by
BEST_SET = 0.005  # within half a point of the most keepers an offset is as good as the best
_GRID = 241


@dataclass(frozen=True, slots=True)
class KernelFit:
    """Seconds and probabilities. `best_s` is the offset that keeps most; `keepers` is corrected for having
    been chosen on the same shots; `next_shot_s` is a 95 % prediction interval of a skew with no offset
    on. shots_s, width_s: the shots at the end of the series, and the kernel's deviation."""

    best_s: float
    interval_s: tuple[float, float]
    keepers: float
    keepers_u: float
    next_shot_s: tuple[float, float]
    curve_offset_s: Floats
    curve_keepers: Floats
    shots_s: Floats
    width_s: float

    def smoothed_keepers(self, offset_s: Floats, tolerance_s: float) -> Floats:
        """Share of the smoothed shots within +-tolerance with each offset (k,)."""
        away = self.shots_s - offset_s[:, None]
        held = special.ndtr((tolerance_s - away) / self.width_s) - special.ndtr(
            (-tolerance_s - away) / self.width_s
        )
        return np.asarray(held.mean(axis=1), dtype=np.float64)


def at_the_end(series: Series, draws: LevelDraws) -> Floats:
    """Skews with the likeliest drift taken off, as they would be at the end of the series; the last
    MOST_SHOTS."""
    x = series.x[-MOST_SHOTS:]
    drift = draws.level_at(x) - draws.level_s[:, None]
    return np.asarray(series.skew_s[-MOST_SHOTS:] - draws.weight @ drift, dtype=np.float64)


def shape_fits(series: Series, draws: LevelDraws) -> bool:
    """False when a smoothed histogram of the shots foretells a shot left out better than the fitted shape
    does.

    Both are scored by the log density of each shot; the kernel's without that shot, the shape's at its
    posterior mean less half a nat for each of its three parameters (Akaike's correction for having seen the
    shot).
    """
    drifting = float(draws.weight[np.isfinite(draws.time_constant)].sum())
    return kernel_lead(series, draws) < LEAD + DRIFT_LEAD * drifting


def kernel_lead(series: Series, draws: LevelDraws) -> float:
    """Log score of the kernel less that of the shape, nats; see `shape_fits`."""
    _, kernel_score = _bandwidth(at_the_end(series, draws))
    few = np.argsort(draws.weight)[-300:]
    skew, x = series.skew_s[-MOST_SHOTS:], series.x[-MOST_SHOTS:]
    level = draws.level_s[few, None] + draws.change_s[few, None] * warm_up(x, draws.time_constant[few, None])
    sigma = draws.sigma_s[few, None]
    log_f = log_density((skew - level) / sigma, draws.half[few, None]) - np.log(sigma)
    weight = draws.weight[few] / draws.weight[few].sum()
    whole = float(special.logsumexp(log_f.sum(axis=1), b=weight))
    return kernel_score - whole


def kernel_offset(
    series: Series, draws: LevelDraws, tolerance_s: float, *, seed: int = 516, leans: bool = False
) -> KernelFit:
    """Offset that keeps most of the kernel-smoothed shots within +-tolerance.

    Interval: percentile bootstrap with RESAMPLES resamples; where the scatter `leans` also every offset that they do
    not show to keep fewer than the best, pair against pair at AS_GOOD standard errors, half a point allowed: of a
    top that falls off to one side the bootstrap of where it lies falls short. Keepers: apparent share less the
    bootstrap estimate of its optimism (Efron 1983). Time O(resamples * shots * grid), shots capped at MOST_SHOTS.
    """
    skew = at_the_end(series, draws)
    width, _ = _bandwidth(skew)
    grid = np.linspace(skew.min(), skew.max(), _GRID)
    # held[g, k]: share of shot k's kernel that offset g's window holds.
    held = special.ndtr((tolerance_s - skew + grid[:, None]) / width) - special.ndtr(
        (-tolerance_s - skew + grid[:, None]) / width
    )
    curve = held.mean(axis=1)
    best = _peak(curve[:, None])[0]
    rng = np.random.default_rng(seed)
    counts = rng.multinomial(skew.size, np.full(skew.size, 1.0 / skew.size), RESAMPLES)
    curves = held @ counts.T / skew.size
    chosen = _peak(curves)
    # What counts is shots, not their kernels, which spill over the edge of the window.
    inside = (np.abs(skew - grid[:, None]) <= tolerance_s).astype(np.float64)
    again = (inside[chosen] * counts).sum(axis=1) / skew.size
    optimism = float(np.mean(again - inside[chosen].mean(axis=1)))
    keepers = float(np.clip(inside[best].mean() - optimism, 0.0, 1.0))
    low, high = np.quantile(grid[chosen], (0.025, 0.975))
    if leans:
        good = _as_good(grid, held, int(best))
        low, high = min(low, good[0]), max(high, good[1])
    below, above = _next_shot(skew, width, rng)
    return KernelFit(
        best_s=float(grid[best]),
        interval_s=(float(min(low, grid[best])), float(max(high, grid[best]))),
        keepers=keepers,
        keepers_u=float(np.std(inside[best] @ counts.T / skew.size)),
        next_shot_s=(below, above),
        curve_offset_s=grid,
        curve_keepers=curve,
        shots_s=skew,
        width_s=width,
    )


def _as_good(grid: Floats, held: Floats, best: int) -> tuple[float, float]:
    """Ends of the offsets that keep as many as grid[best], the middle of a plateau, as far as the shots can tell; less
    the plateau's own half, which is no doubt about its middle. held (g, k)."""
    fewer = held[best] - held
    short = fewer.mean(axis=1)
    enough = np.flatnonzero(short <= BEST_SET + AS_GOOD * fewer.std(axis=1) / np.sqrt(held.shape[1]))
    off = np.flatnonzero(short > PLATEAU)
    below, above = off[off < best], off[off > best]
    first = int(below[-1]) + 1 if below.size else 0
    last = int(above[0]) - 1 if above.size else short.size - 1
    low, high = grid[enough[0]] + grid[best] - grid[first], grid[enough[-1]] - grid[last] + grid[best]
    return float(min(low, grid[best])), float(max(high, grid[best]))


def _next_shot(skew: Floats, width: float, rng: np.random.Generator) -> tuple[float, float]:
    """95 % prediction interval of one more shot: between order statistics where there are shots enough,
    which holds for any scatter; else from the smoothed shots."""
    if skew.size >= shots_for_extremes(0.95):
        rank = max(int(0.025 * (skew.size + 1)), 1)
        ordered = np.sort(skew)
        return float(ordered[rank - 1]), float(ordered[-rank])
    frames = rng.choice(skew, 4000) + width * rng.standard_normal(4000)
    below, above = np.quantile(frames, (0.025, 0.975))
    return float(below), float(above)


def _peak(curves: Floats) -> npt.NDArray[np.intp]:
    """Row of each column's maximum; the middle of the plateau where several offsets keep the same."""
    top = curves >= curves.max(axis=0) - PLATEAU
    order = np.arange(curves.shape[0])[:, None]
    highest = np.argmax(curves, axis=0)
    # Only the plateau that touches the maximum: a second hump as good must not average into the gap.
    gap = np.where(top, 0, 1)
    before = np.where(order < highest, gap * order, -1).max(axis=0)
    after = np.where((order > highest) & (gap == 1), order, curves.shape[0]).min(axis=0)
    return np.asarray((before + 1 + after - 1) // 2, dtype=np.intp)


def _bandwidth(skew: Floats) -> tuple[float, float]:
    """Kernel width (s) with the best leave-one-out log likelihood among BANDWIDTHS, and that likelihood."""
    deviation = float(np.std(skew))
    if deviation == 0.0:
        return 1e-9, -np.inf
    widths = deviation * np.array(BANDWIDTHS)
    gap = skew[:, None] - skew
    scores = []
    for width in widths:
        log_kernel = -0.5 * (gap / width) ** 2 - 0.5 * np.log(2.0 * np.pi) - np.log(width)
        np.fill_diagonal(log_kernel, -np.inf)
        scores.append(float(special.logsumexp(log_kernel, axis=1).sum() - skew.size * np.log(skew.size - 1)))
    best = int(np.argmax(scores))
    return float(widths[best]), scores[best]
