"""What the next frames will be like, where that is not simply what the series was: scatter that grew, frames far from
all others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special, stats

Floats = npt.NDArray[np.float64]

ALARM = 0.02  # chance that steady scatter is taken to grow or shrink
LEAST_GROWING = 15
MOST = 2.0  # times that the scatter at the end is taken to be that of all: a line knows no more
NEARLY_ALL = 0.99  # of the frames like the others: where 95 % of all take more, the far ones must be in it
NORMAL_QUARTILE = float(special.ndtri(0.75))


@dataclass(frozen=True, slots=True)
class Growth:
    """Robust standard deviations (s) of the first and the last third of a series; at_end: the scatter at its very end,
    over that of all."""

    first_s: float
    last_s: float
    at_end: float


def growth(off_s: Floats) -> Growth | None:
    """Scatter that grows or shrinks, at ALARM; None where it does not. off_s: distances from the centre (n,) in order.

    Their size is regressed on their order (Glejser 1969, memory), which needs no normal scatter.
    """
    size, order = np.abs(off_s), np.arange(off_s.size)
    if size.size < LEAST_GROWING or np.ptp(size) == 0.0:
        return None
    line = stats.linregress(order, size)
    if not float(line.pvalue) < ALARM:
        return None
    third = size.size // 3
    first_s, last_s = (float(np.median(part)) / NORMAL_QUARTILE for part in (size[:third], size[-third:]))
    at_end = float(line.intercept + line.slope * order[-1]) / float(size.mean())
    return Growth(first_s, last_s, float(np.clip(at_end, 1.0 / MOST, MOST)))


def next_frame_ends(sane: float) -> tuple[float, float]:
    """Probabilities between which the next of the sane frames must fall, so that 95 % of all frames do."""
    outside = 0.5 * (1.0 - min(0.95 / sane, NEARLY_ALL))
    return outside, 1.0 - outside


def takes_far_ones(sane: float) -> bool:
    """Whether 95 % of all frames cannot be had without those far from the sane ones."""
    return 0.95 / sane > NEARLY_ALL


def with_far_frames(ends: tuple[float, float], far_s: Floats, sane: float) -> tuple[float, float]:
    """An interval (low, high) for the next frame stretched to the far ones (k,), where so many were far that 95 % of
    all cannot be had without them."""
    if far_s.size == 0 or not takes_far_ones(sane):
        return ends
    return min(ends[0], float(far_s.min())), max(ends[1], float(far_s.max()))


def scattered(rng: np.random.Generator, sigma_s: Floats, half: Floats) -> Floats:
    """One shot's departure from its centre for each draw (d,): normal, and a uniform part of `half` sigmas."""
    gaussian, uniform = rng.standard_normal(sigma_s.size), rng.uniform(-1.0, 1.0, sigma_s.size)
    return np.asarray(sigma_s * (gaussian + half * uniform), dtype=np.float64)


def even_normal(rng: np.random.Generator, size: int) -> Floats:
    """Standard normal draws spread evenly over their quantiles, in random order: far less noise in a mean."""
    return np.asarray(special.ndtri((rng.permutation(size) + 0.5) / size), dtype=np.float64)
