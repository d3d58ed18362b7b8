"""What is known of one frame: the things whose pictures lie apart, and its skew."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Thing:
    """Something whose two pictures lie apart.

    apart_m on film, in body A's scale, u_m its standard uncertainty. signed: positive where B shows it further
    along its way; otherwise apart_m is a length and either body may be late. speed_m_s: None where unknown,
    0 where it stood still. speed_u, distance_u: relative standard uncertainties. place: (x, y) as fractions
    of the frame from the left and the top of the scene. aside_m: how far they lie apart across its way, which
    timing does not do; way_u_rad: how well its way is known. placed: `place` is known; else it is frame centre for
    want of better. whole: the thing's whole picture was compared (as two scans are registered); otherwise whoever
    measured may have done so at one of its edges.
    """

    name: str
    apart_m: float
    u_m: float
    distance_m: float
    speed_m_s: float | None
    signed: bool = False
    direction: Literal["across", "towards"] = "across"
    speed_u: float = 0.1
    distance_u: float = 0.05
    place: tuple[float, float] = (0.5, 0.5)
    aside_m: float = 0.0
    way_u_rad: float = 0.13
    placed: bool = True
    whole: bool = True

    @property
    def length_m(self) -> float:
        """How far apart its pictures lie, along and across."""
        return math.hypot(self.apart_m, self.aside_m)

    @property
    def along_u_m(self) -> float:
        """Uncertainty of what lies along its way, the doubt about the way included."""
        return math.hypot(self.u_m, self.aside_m * self.way_u_rad)

    @property
    def aside_u_m(self) -> float:
        """Uncertainty of what lies across it."""
        return math.hypot(self.u_m, self.apart_m * self.way_u_rad)


@dataclass(frozen=True, slots=True)
class Known:
    """A skew at frame centre to compare with: this frame's own, or (own False) what the rig's jitter allows."""

    skew_s: float
    u_s: float
    own: bool
    source: str
