"""The film frame's own border in a scan: an even, dark or light band along a side, with a straight inner edge.

It belongs to the body, not to the scene, so where both scans show it it seems to have moved.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from coincide.scans.coarse import block_mean
from coincide.scans.orientation import Reals

Mask = npt.NDArray[np.bool_]

_SIDE_PX = 500  # of the copy it is looked for in
_DEEPEST = 0.15  # of the side
_EVEN = 0.04  # grey levels, 0 to 1, about the rim's own
_EXTREME = 0.06  # from the darkest or lightest of the scan
_STRAIGHT_PX = 1.5
_MOST_OFF = 0.15  # of the side's length may break the line: dust, hair, frame numbers


def gate(grey: Reals) -> tuple[Mask, int]:
    """Where `grey` (h, w) shows the frame's border, on a copy reduced by the factor that is returned with it."""
    factor = max(1, round(max(grey.shape) / _SIDE_PX))
    small = ndimage.median_filter(block_mean(grey, factor), 3)
    low, high = np.quantile(small, [0.002, 0.998])
    found = np.zeros(small.shape, np.bool_)
    for turns in range(4):
        side = np.rot90(small, turns)
        band = _band(side, float(low), float(high))
        if band is not None:
            found |= np.rot90(band, -turns)
    return found, factor


def _band(small: Reals, low: float, high: float) -> Mask | None:
    """The border along the upper side of `small`; None where there is none."""
    level = float(np.median(small[:2]))
    if min(abs(level - low), abs(level - high)) > _EXTREME:
        return None
    unlike = np.abs(small - level) > _EVEN
    deepest = int(_DEEPEST * small.shape[0])
    depth = np.where(unlike[:deepest].any(axis=0), unlike[:deepest].argmax(axis=0), deepest)
    columns = np.arange(len(depth))
    # The corners belong to the neighbouring sides; a line through what is left, twice, the second time without dust.
    use = (depth > 0) & (depth < deepest) & (columns > 0.1 * len(depth)) & (columns < 0.9 * len(depth))
    for _ in range(3):
        if use.sum() < (0.8 - _MOST_OFF) * len(depth):
            return None
        slope, start = np.polyfit(columns[use], depth[use], 1)
        off = np.abs(depth - (start + slope * columns))
        use &= off <= max(_STRAIGHT_PX, 2.5 * float(np.median(off[use])))
    if (
        float(off[use].max()) > _STRAIGHT_PX
        or abs(slope) > 0.1
        or float((start + slope * columns).max()) < 1.0
    ):
        return None
    return np.asarray(np.arange(small.shape[0])[:, None] < (start + slope * columns)[None], np.bool_)
