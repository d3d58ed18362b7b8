"""Uncertainty budgets after the GUM (JCGM 100:2008), by distributions (JCGM 101:2008) where that matters.

combined      root sum of squares of the components                            GUM 5.1.2
rectangular   half-width a gives a / sqrt 3                                    GUM 4.3.7
effective     degrees of freedom by Welch and Satterthwaite                    GUM G.4.1
expanded      k = 2 where the parts are near normal, else the 95 % of the
              distributions, by Monte Carlo                                    JCGM 101
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import stats

Floats = npt.NDArray[np.float64]
Distribution = Literal["normal", "rectangular", "triangular", "student"]

DRAWS = 200_000
KEPT = 32  # sets of draws kept, 1.6 MB each
FEW = 20.0  # effective degrees of freedom below which k = 2 would hold less than 94 %, by Student's tails
NOTHING = 1e-4  # of the largest part: drawing what adds a hundred-millionth of the variance is idle
DOMINANT = 0.5  # share of the variance at which a rectangular part makes the sum far from normal


@dataclass(frozen=True, slots=True)
class Component:
    """One part: standard uncertainty (any unit, seconds here), degrees of freedom (inf where known),
    distribution.

    kind: 'A' from the shots, 'B' from anything else. remedy: what would make it smaller, or ''.
    """

    name: str
    u_s: float
    dof: float = np.inf
    distribution: Distribution = "normal"
    kind: Literal["A", "B"] = "B"
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Budget:
    """Components and what they come to. share: of the variance, in the order of `components`. expanded_s:
    half-width of the 95 % interval; coverage_factor = expanded / combined; method 'k=2' or
    'distributions'."""

    components: tuple[Component, ...]
    combined_s: float
    dof: float
    share: tuple[float, ...]
    expanded_s: float
    coverage_factor: float
    method: str

    @property
    def largest(self) -> Component | None:
        """The component with most of the variance."""
        return self.components[int(np.argmax(self.share))] if self.components else None


def rectangular_u(half_width: float) -> float:
    """Standard uncertainty of a rectangle of this half-width."""
    return half_width / float(np.sqrt(3.0))


def mean_component(name: str, values: Floats, remedy: str = "fire more pairs") -> Component:
    """Type A of a mean: experimental standard deviation of the mean, n - 1 degrees of freedom (GUM 4.2)."""
    n = values.size
    u = float(np.std(values, ddof=1) / np.sqrt(n)) if n > 1 else np.inf
    return Component(name, u, n - 1.0, "student", "A", remedy)


def budget(components: tuple[Component, ...], *, seed: int = 101) -> Budget:
    """Combine independent components with sensitivity one. Zero components are kept in the table."""
    variance = np.array([part.u_s**2 for part in components])
    total = float(variance.sum())
    if total == 0.0 or not components:
        return Budget(components, 0.0, np.inf, tuple(0.0 for _ in components), 0.0, 2.0, "k=2")
    share = variance / total
    dof = _effective_dof(variance, np.array([part.dof for part in components]))
    combined = float(np.sqrt(total))
    rectangle = max(
        (
            s
            for s, part in zip(share, components, strict=True)
            if part.distribution in ("rectangular", "triangular")
        ),
        default=0.0,
    )
    if dof >= FEW and rectangle < DOMINANT:
        return Budget(components, combined, dof, tuple(share.tolist()), 2.0 * combined, 2.0, "k=2")
    expanded = _by_distributions(components, seed)
    return Budget(
        components, combined, dof, tuple(share.tolist()), expanded, expanded / combined, "distributions"
    )


def _effective_dof(variance: Floats, dof: Floats) -> float:
    """Welch-Satterthwaite: u_c^4 / sum(u_i^4 / nu_i), GUM G.2b."""
    below = float(np.sum(variance**2 / dof))
    return float(variance.sum() ** 2 / below) if below > 0 else float(np.inf)


def _by_distributions(components: tuple[Component, ...], seed: int) -> float:
    """Half-width of the symmetric 95 % interval of the sum of the components' distributions, DRAWS draws."""
    total = np.zeros(DRAWS)
    seen = NOTHING * max(part.u_s for part in components)
    for place, part in enumerate(part for part in components if part.u_s > seen):
        total += part.u_s * _standardised(part.distribution, part.dof, place, seed)
    return float(np.quantile(np.abs(total), 0.95))


@lru_cache(maxsize=KEPT)
def _standardised(distribution: Distribution, dof: float, place: int, seed: int) -> Floats:
    """Draws of the part in this place of a sum, scaled so that u_s is its standard uncertainty; kept, as a report asks
    for the same ones again and again.

    A Student part is s/sqrt(n) times t (JCGM 101, 6.4.9): its standard deviation exceeds u_s, as it should.
    """
    rng = np.random.default_rng([seed, place])
    if distribution == "rectangular":
        return np.asarray(rng.uniform(-np.sqrt(3.0), np.sqrt(3.0), DRAWS))
    if distribution == "triangular":
        return np.asarray(rng.triangular(-np.sqrt(6.0), 0.0, np.sqrt(6.0), DRAWS))
    if np.isfinite(dof):
        return np.asarray(stats.t.rvs(dof, size=DRAWS, random_state=rng))
    return np.asarray(rng.standard_normal(DRAWS))


def rounded(value: float, uncertainty: float) -> tuple[float, float]:
    """Value and uncertainty with the digits they carry: two in the uncertainty, the value to the same place
    (GUM 7.2.6). Not finite or zero uncertainty leaves the value as it is."""
    if not np.isfinite(uncertainty) or uncertainty <= 0 or not np.isfinite(value):
        return value, uncertainty
    places = 1 - int(np.floor(np.log10(uncertainty)))
    # 0.0996 rounds to 0.10 at two digits: look again after rounding.
    places = 1 - int(np.floor(np.log10(round(uncertainty, places))))
    return round(value, places), round(uncertainty, places)
