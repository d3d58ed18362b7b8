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

from coincide.timing.level import LevelDraws, warm_up
from coincide.timing.series import Series
from coincide.timing.shape import log_density

Floats = npt.NDArray[np.float64]

RESAMPLES = 400
MOST_SHOTS = 300
BANDWIDTHS = (0.1, 0.15, 0.22, 0.33, 0.5, 0.7)  # of the standard deviation
LEAD = 4.0  # nats by which the kernel must beat the fitted shape, shot by shot left out, to be preferred
_GRID = 241


@dataclass(frozen=True, slots=True)
class KernelFit:
    """Seconds and probabilities. `best_s` is the offset that keeps most; `keepers` is corrected for having
    been chosen on the same shots; `next_shot_s` is a 95 % prediction interval of a skew with no offset
    on."""

    best_s: float
    interval_s: tuple[float, float]
    keepers: float
    keepers_u: float
    next_shot_s: tuple[float, float]
    curve_offset_s: Floats
    curve_keepers: Floats


def at_the_end(series: Series, draws: LevelDraws) -> Floats:
    """Skews with the likeliest drift taken off, as they would be at the end of the series; the last
    MOST_SHOTS."""
    best = int(np.argmax(draws.weight))
    shape = warm_up(series.x, draws.time_constant[best])
    return np.asarray(series.skew_s - draws.change_s[best] * shape, dtype=np.float64)[-MOST_SHOTS:]


def shape_fits(series: Series, draws: LevelDraws) -> bool:
    """False when a smoothed histogram of the shots foretells a shot left out better than the fitted shape
    does.

    Both are scored by the log density of each shot; the kernel's without that shot, the shape's at its
    posterior mean less half a nat for each of its three parameters (Akaike's correction for having seen the
    shot).
    """
    skew = at_the_end(series, draws)
    _, kernel_score = _bandwidth(skew)
    heaviest = np.argsort(draws.weight)[-200:]
    weight = draws.weight[heaviest] / draws.weight[heaviest].sum()
    sigma = draws.sigma_s[heaviest, None]
    z = (skew - draws.level_s[heaviest, None]) / sigma
    log_f = log_density(z, draws.half[heaviest, None]) - np.log(sigma)
    shape_score = float(special.logsumexp(log_f, axis=0, b=weight[:, None]).sum()) - 3.0
    return kernel_score < shape_score + LEAD


def kernel_offset(series: Series, draws: LevelDraws, tolerance_s: float, *, seed: int = 516) -> KernelFit:
    """Offset that keeps most of the kernel-smoothed shots within +-tolerance.

    Interval: percentile bootstrap with RESAMPLES resamples. Keepers: apparent share less the bootstrap
    estimate of its optimism (Efron 1983). Time O(resamples * shots * grid), shots capped at MOST_SHOTS.
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
    optimism = float(np.mean(curves[chosen, np.arange(RESAMPLES)] - curve[chosen]))
    # What counts is shots, not their kernels: the share actually within tolerance at the chosen offset.
    inside = float(np.mean(np.abs(skew - grid[best]) <= tolerance_s))
    keepers = float(np.clip(min(inside, curve[best]) - optimism, 0.0, 1.0))
    low, high = np.quantile(grid[chosen], (0.025, 0.975))
    frames = rng.choice(skew, 4000) + width * rng.standard_normal(4000)
    below, above = np.quantile(frames, (0.025, 0.975))
    return KernelFit(
        best_s=float(grid[best]),
        interval_s=(float(min(low, grid[best])), float(max(high, grid[best]))),
        keepers=keepers,
        keepers_u=float(np.std(curves[best])),
        next_shot_s=(float(below), float(above)),
        curve_offset_s=grid,
        curve_keepers=curve,
    )


def _peak(curves: Floats) -> npt.NDArray[np.intp]:
    """Row of each column's maximum; the middle of the plateau where several offsets keep the same."""
    top = curves >= curves.max(axis=0) - 1e-3
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
