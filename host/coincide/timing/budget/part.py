"""One part of a type B uncertainty, and how parts add up."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ROOT3 = float(np.sqrt(3.0))


@dataclass(frozen=True, slots=True)
class Part:
    """Standard uncertainty in seconds, its distribution ('normal' or 'rectangular'), what would make it
    smaller."""

    name: str
    u_s: float
    distribution: str
    remedy: str


def together_s(parts: tuple[Part, ...]) -> float:
    """Root sum of squares (GUM 5.1.2)."""
    return float(np.sqrt(sum(part.u_s**2 for part in parts)))


def rectangular(name: str, half_width_s: float, remedy: str) -> Part:
    """A part known to lie within +-half_width_s (GUM 4.3.7)."""
    return Part(name, half_width_s / ROOT3, "rectangular", remedy)
