"""Coloured fringes of a merged pair: at every edge of A, how far B's edge lies beside it, and why.

The width of a fringe is the displacement *across* the edge: an edge along the way something moved shows none.
Lengths in pixels of A.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from scipy.spatial import KDTree
from skimage.feature import canny

from coincide.scans.pair import Compared
from coincide.scans.register.alignment import Floats
from coincide.scans.register.coarse import block_mean

Cause = Literal["moved", "parallax", "registration"]

CAUSES: tuple[Cause, ...] = ("moved", "parallax", "registration")
WORKING_PIXELS = 2_000_000
_EDGE_SIGMA_PX = 1.5
_STRONGEST = (0.7, 0.9)  # of the gradients: an edge goes on above the first, begins above the second
_NEAREST = 4
_GATE_RIM_PX = 3  # of the copy the gate was found in
_AGREE_PX = 1.0


@dataclass(frozen=True, slots=True)
class Fringe:
    """All fringes of one cause. share: of the edges of the frame. median_px, wide_px: width, half of them and nineteen
    in twenty are narrower; 0 without any."""

    cause: Cause
    share: float
    median_px: float
    wide_px: float


@dataclass(frozen=True, slots=True)
class Fringes:
    """edges_px (n, 2): places on edges. width_px (n,): of the fringe there. cause (n,): index into CAUSES.

    moved: within a region seen to have moved, by skew, or something near that parallax displaced; scans alone do not
    tell the two apart. parallax: neighbours agree that they lie off the map, though no region stands out.
    registration: what is left where the map holds. u_px: standard uncertainty of a width.
    """

    edges_px: Floats
    width_px: Floats
    cause: npt.NDArray[np.intp]
    by_cause: tuple[Fringe, ...]
    u_px: float


def fringes(compared: Compared) -> Fringes:
    """Widths and causes at A's edges where both scans show something."""
    grey = compared.a.grey
    factor = max(1, math.ceil(math.sqrt(grey.size / WORKING_PIXELS)))
    small = block_mean(grey, factor)
    rows, columns = np.nonzero(canny(small, _EDGE_SIGMA_PX, *_STRONGEST, use_quantiles=True))
    places: Floats = (np.stack([columns, rows], axis=1).astype(np.float64) + 0.5) * factor - 0.5
    normal: Floats = np.stack(
        [
            ndimage.gaussian_filter(small, _EDGE_SIGMA_PX, order=order)[rows, columns]
            for order in ((0, 1), (1, 0))
        ],
        axis=1,
    )
    normal /= np.linalg.norm(normal, axis=1, keepdims=True) + 1e-12
    there = compared.registration.alignment.to_b(places)
    last = np.array(compared.registration.frame_b_px) - 1
    shown = ((there >= 0) & (there <= last)).all(axis=1)
    shown &= _within_gates(compared, places, there)
    places, normal = places[shown], normal[shown]
    by, cause = _displaced(compared, places)
    width = np.abs((by * normal).sum(axis=1))
    total = max(len(width), 1)
    told = []
    for index, name in enumerate(CAUSES):
        these = width[cause == index]
        half, wide = np.quantile(these, [0.5, 0.95]) if len(these) else (0.0, 0.0)
        told.append(Fringe(name, len(these) / total, float(half), float(wide)))
    return Fringes(places, width, cause, tuple(told), compared.registration.uncertainty_px)


def _within_gates(compared: Compared, places: Floats, there: Floats) -> npt.NDArray[np.bool_]:
    """Which places are the scene's, and not the edge of a film gate."""
    of_a, of_b = compared.gates
    rim, gauge = _GATE_RIM_PX * of_a.factor, compared.registration.alignment.gauge
    return of_a.inside(places, rim) & of_b.inside(there, rim * gauge)


def _displaced(compared: Compared, places: Floats) -> tuple[Floats, npt.NDArray[np.intp]]:
    """Displacement of B's edge from A's (n, 2), and the index of its cause (n,)."""
    registration = compared.registration
    cause = np.full(len(places), CAUSES.index("registration"), np.intp)
    by = np.zeros_like(places)
    if len(registration.tiles_px) >= _NEAREST and len(places):
        tree = KDTree(registration.tiles_px)
        off, still = registration.off_px, registration.still
        around = tree.query(registration.tiles_px, _NEAREST)[1]
        typical = np.median(off[around], axis=1)
        agree = np.linalg.norm(off - typical, axis=1) < _AGREE_PX
        nearest = tree.query(places)[1]
        believed = still | agree  # a tile alone against its neighbours was matched wrongly
        by = np.where(believed[nearest, None], off[nearest], typical[nearest])
        cause[(agree & ~still)[nearest]] = CAUSES.index("parallax")
    for region in compared.motion.regions:
        inside = np.zeros(len(places), np.bool_)
        for x, y in region.cells:
            side = region.cell_px
            inside |= (
                (places[:, 0] >= x)
                & (places[:, 0] < x + side)
                & (places[:, 1] >= y)
                & (places[:, 1] < y + side)
            )
        by[inside] = region.by_px
        cause[inside] = CAUSES.index("moved")
    return by, cause
