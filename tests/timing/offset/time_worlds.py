"""Series whose centre moves, or whose scatter is not independent of its order or not even: drawn by recipes, not by
models.

It shares no formula with the package: a kind is a recipe for the centre at each shot and for the scatter about it,
in units of the scatter. `centre` is what the offset should be: the centre at the last shot, for scatter that neighbours
share the mean it scatters about, for lopsided scatter the offset that keeps most. `best_set` are the offsets from it
within half a point of the most keepers, found by trying offsets on a large sample of the scatter as it is at the end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

INDEPENDENT = ("normal", "heavy tails")
MOVING = ("linear", "reverses", "swings", "walk", "step", "shared 0.7", "shared 0.4", "two steps")
UNEVEN = ("lopsided", "two humps", "some far", "grows")
KINDS = (*INDEPENDENT, *MOVING, *UNEVEN)
LENGTHS = (20, 40, 60, 200, 500)
_SAMPLE = 100_000


@dataclass(frozen=True)
class TimeWorld:
    """One series: skews (n,), the centre to find, the tolerance; all in units of the scatter. scatter: a large sample,
    in order of size."""

    kind: str
    skew: Floats
    centre: float
    tolerance: float
    scatter: Floats

    def best_set(self) -> tuple[float, float]:
        """Ends of the best set, from the centre."""
        low, high = best_offsets(self.scatter, self.tolerance)
        return low, high

    def share(self, low: float, high: float) -> float:
        """Of frames at the end of the series, between two skews from the centre."""
        inside = np.searchsorted(self.scatter, high, "right") - np.searchsorted(self.scatter, low)
        return float(inside / self.scatter.size)


def best_offsets(ordered: Floats, tolerance: float) -> tuple[float, float]:
    """Lowest and highest offset within half a point of the most keepers, of frames in order of size."""
    low, high = (float(end) for end in np.quantile(ordered, (0.02, 0.98)))
    offsets = np.linspace(low, high, 601)
    kept = np.searchsorted(ordered, offsets + tolerance) - np.searchsorted(ordered, offsets - tolerance)
    best = offsets[kept >= kept.max() - 0.005 * ordered.size]
    return float(best.min()), float(best.max())


def make_world(kind: str, n: int, seed: int) -> TimeWorld:
    rng = np.random.default_rng([seed, n, KINDS.index(kind)])
    t = np.arange(n) / (n - 1)
    size = rng.uniform(1.0, 6.0) * rng.choice([-1.0, 1.0])
    scatter = rng.standard_normal(n)
    sample = rng.standard_normal(_SAMPLE)
    centre = np.zeros(n)
    if kind == "heavy tails":
        scatter, sample = (rng.standard_t(4, each) for each in (n, _SAMPLE))
    elif kind == "linear":
        centre = size * t
    elif kind == "reverses":
        turn = rng.uniform(0.3, 0.7)
        centre = np.where(t < turn, size * t / turn, size * (1.0 - 0.7 * (t - turn) / (1.0 - turn)))
    elif kind == "swings":
        period = rng.uniform(6.0, 60.0)
        centre = rng.uniform(1.0, 3.0) * np.sin(2.0 * np.pi * (np.arange(n) / period + rng.uniform()))
    elif kind == "walk":
        centre = np.cumsum(rng.uniform(0.1, 1.0) * rng.standard_normal(n))
    elif kind == "step":
        centre = np.where(t < rng.uniform(0.2, 0.8), 0.0, size)
    elif kind == "two steps":
        first, second = np.sort(rng.uniform(0.2, 0.8, 2))
        centre = np.where(t < first, 0.0, size) + np.where(t < second, 0.0, -0.5 * size)
    elif kind.startswith("shared"):
        like = float(kind.split()[1])
        for k in range(1, n):
            scatter[k] = like * scatter[k - 1] + np.sqrt(1.0 - like**2) * scatter[k]
    elif kind == "grows":
        last = rng.uniform(2.0, 4.0)
        scatter, sample = scatter * last**t, last * sample
    elif kind in UNEVEN:
        scatter, sample = _uneven(kind, rng, n)
    tolerance = rng.uniform(1.5, 4.0)
    if kind == "lopsided":
        # The tolerance is to the robust spread what it is to a normal one's, and the best offset the centre.
        tolerance *= 1.4826 * float(np.median(np.abs(sample - np.median(sample))))
        most = float(np.mean(best_offsets(np.sort(sample), tolerance)))
        scatter, sample = scatter - most, sample - most
    return TimeWorld(kind, centre + scatter, float(centre[-1]), tolerance, np.sort(sample))


def _uneven(kind: str, rng: np.random.Generator, n: int) -> tuple[Floats, Floats]:
    """Shots (n,) and a sample of the same."""
    if kind == "lopsided":
        spread = rng.uniform(0.4, 1.0)
        return np.exp(spread * rng.standard_normal(n)), np.exp(spread * rng.standard_normal(_SAMPLE))
    share = rng.uniform(0.02, 0.08) if kind == "some far" else 0.5
    away = rng.uniform(10.0, 30.0) if kind == "some far" else rng.uniform(4.0, 8.0)
    drawn = []
    for count in (n, _SAMPLE):
        far = rng.uniform(size=count) < share
        drawn.append(rng.standard_normal(count) + np.where(far, away, 0.0))
    return drawn[0], drawn[1]
