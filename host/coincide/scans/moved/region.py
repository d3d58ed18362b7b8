"""Something that moved between two registered scans, and when two findings are of one thing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from coincide.scans.register.alignment import Floats


@dataclass(frozen=True, slots=True)
class Region:
    """Something that moved. Pixels of A, x right, y down, as A shows the scene.

    by_px: where B shows it less where A does, after registration. u_px: standard uncertainty of each
    component, registration included. cells (n, 2): corner (x, y) of every cell of `cell_px` a side that
    belongs to it. clear: deviations above chance. score: agreement at by_px, 0 to 1. confidence: 0 to 1, how far no
    shift at all is ruled out by the same measure. across: None, or the unit vector across a straight edge, where only
    that part of the displacement can be told (the aperture problem); `by_px` then lies along it, `u_px` is of it.
    """

    centre_px: tuple[float, float]
    box_px: tuple[float, float, float, float]
    area_px: float
    by_px: tuple[float, float]
    u_px: tuple[float, float]
    cells: Floats
    cell_px: float
    clear: float
    score: float
    confidence: float
    across: tuple[float, float] | None = None

    @property
    def length_px(self) -> float:
        """Length of the displacement."""
        return math.hypot(*self.by_px)


def known(region: Region, others: list[Region]) -> bool:
    """Half of it or more lies in a region that a finer level has found."""
    centres = region.cells + region.cell_px / 2
    covered = np.zeros(len(centres), np.bool_)
    for other in others:
        grow = other.cell_px
        x0, y0, x1, y1 = other.box_px
        covered |= (
            (centres[:, 0] > x0 - grow)
            & (centres[:, 0] < x1 + grow)
            & (centres[:, 1] > y0 - grow)
            & (centres[:, 1] < y1 + grow)
        )
    return bool(covered.mean() > 0.4)


def joined(textured: list[Region], outlined: tuple[Region, ...]) -> list[Region]:
    """Findings by texture and by outline as one list, each thing once.

    Where both found the same, texture measures better. Where texture found something else within an outline, it took
    one end of a plain thing for another; but a straight edge knows less than any texture.
    """
    kept, added = list(textured), []
    for outline in outlined:
        inside = [one for one in kept if known(one, [outline])]
        alike = [one for one in inside if _alike(one, outline)]
        if outline.across is None:
            kept = [one for one in kept if one not in inside or one in alike]
        if not alike and not known(outline, kept):
            added.append(outline)
    return kept + added


def _alike(one: Region, other: Region) -> bool:
    apart = math.hypot(one.by_px[0] - other.by_px[0], one.by_px[1] - other.by_px[1])
    return apart < 2.0 + 2.0 * math.hypot(max(one.u_px), max(other.u_px))
