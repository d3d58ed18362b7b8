"""Series whose centre moves, or whose scatter is not independent of its order: drawn by recipes, not by models.

It shares no formula with the package: a kind is a recipe for the centre at each shot and for the scatter about it,
in units of the scatter. `centre` is what the offset should be: the centre at the last shot, and for scatter that
neighbours share the mean it scatters about. `half` is the half-width of the set of offsets within half a point of the
most keepers, found by trying offsets on a large sample of the scatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

INDEPENDENT = ("normal", "heavy tails")
MOVING = ("linear", "reverses", "swings", "walk", "step", "shared 0.7", "shared 0.4", "two steps")
KINDS = (*INDEPENDENT, *MOVING)
LENGTHS = (20, 40, 100, 300, 500)
_SAMPLE = 200_000


@dataclass(frozen=True)
class TimeWorld:
    """One series: skews (n,), the centre to find, the tolerance; all in units of the scatter."""

    kind: str
    skew: Floats
    centre: float
    tolerance: float
    scatter: Floats

    def half(self) -> float:
        """Half-width of the best set."""
        offsets = np.linspace(0.0, 1.5, 61)
        ordered = np.sort(self.scatter)
        inside = (
            np.searchsorted(ordered, offsets + self.tolerance)
            - np.searchsorted(ordered, offsets - self.tolerance)
        ) / ordered.size
        return float(offsets[inside >= inside.max() - 0.005].max())

    def share(self, low: float, high: float) -> float:
        """Of frames at the end of the series, between two skews from the centre."""
        return float(np.mean((self.scatter >= low) & (self.scatter <= high)))


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
    return TimeWorld(kind, centre + scatter, float(centre[-1]), rng.uniform(1.5, 4.0), sample)
