"""What is uncertain of a recording, by name."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ROOT3 = float(np.sqrt(3.0))


@dataclass(frozen=True, slots=True)
class Uncertain:
    """Standard uncertainty in seconds of every mid-exposure of one channel alike; its distribution ('normal' or
    'rectangular'); what would make it smaller."""

    name: str
    u_s: float
    distribution: str
    remedy: str


def rectangle(name: str, half_width_s: float, remedy: str) -> Uncertain:
    """A part within +-half_width_s (GUM 4.3.7)."""
    return Uncertain(name, half_width_s / ROOT3, "rectangular", remedy)
