"""The film frame's own border in a scan: an even, dark or light band along a side, with a straight inner edge.

It belongs to the body, not to the scene, so where both scans show it it seems to have moved.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from coincide.scans.register.coarse import block_mean
from coincide.scans.register.orientation import Reals

Mask = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]
Side = Literal["top", "right", "bottom", "left"]

_SIDES: tuple[Side, ...] = ("top", "right", "bottom", "left")  # as quarter turns anticlockwise bring them up

_SIDE_PX = 500  # of the copy it is looked for in
_DEEPEST = 0.15  # of the side
_EVEN = 0.04  # grey levels, 0 to 1, about the rim's own
_EXTREME = 0.06  # from the darkest or lightest of the scan
_STRAIGHT_PX = 1.5
_MOST_OFF = 0.15  # of the side's length may break the line: dust, hair, frame numbers


@dataclass(frozen=True, slots=True)
class Gate:
    """The film gate in a scan. lines: the inner edge of the border along each side that shows one, two points (x, y) of
    it from corner to corner, pixels of the scan. border, factor: where it is, on a copy reduced by `factor`."""

    size_px: tuple[int, int]
    lines: Mapping[Side, Floats]
    border: Mask
    factor: int

    @property
    def middle_px(self) -> Floats | None:
        """The middle of the picture by its four corners; None where a side does not show."""
        if len(self.lines) < 4:
            return None
        corners = [
            _crossing(self.lines[upright], self.lines[level])
            for upright in ("left", "right")
            for level in ("top", "bottom")
        ]
        return np.asarray(np.mean(corners, axis=0))

    @property
    def picture_px(self) -> tuple[float, float] | None:
        """Width and height of the picture inside; None where a side does not show."""
        if self.middle_px is None:
            return None
        middles = {side: line.mean(axis=0) for side, line in self.lines.items()}
        return (
            float(np.linalg.norm(middles["right"] - middles["left"])),
            float(np.linalg.norm(middles["bottom"] - middles["top"])),
        )

    def inside(self, points: Floats, rim_px: float = 0.0) -> Mask:
        """Which of `points` (..., 2), pixels of the scan, lie within every side that shows, by `rim_px` and more."""
        out = np.ones(points.shape[:-1], np.bool_)
        for side, (one, two) in self.lines.items():
            along = two - one
            off = along[0] * (points[..., 1] - one[1]) - along[1] * (points[..., 0] - one[0])
            off /= math.hypot(*along)
            out &= off > rim_px if side in ("top", "right") else off < -rim_px
        return out


def gate(grey: Reals) -> Gate:
    """The frame's border in `grey` (h, w), looked for on a reduced copy."""
    factor = max(1, round(max(grey.shape) / _SIDE_PX))
    small = ndimage.median_filter(block_mean(grey, factor), 3)
    low, high = np.quantile(small, [0.002, 0.998])
    border = np.zeros(small.shape, np.bool_)
    lines: dict[Side, Floats] = {}
    for turns, name in enumerate(_SIDES):
        side = np.rot90(small, turns)
        edge = _edge(side, float(low), float(high))
        if edge is not None:
            slope, start = edge
            columns = np.arange(side.shape[1])
            band = np.arange(side.shape[0])[:, None] < (start + slope * columns)[None]
            border |= np.rot90(band, -turns)
            lines[name] = _in_scan(turns, small.shape, slope, start) * factor - 0.5
    return Gate((grey.shape[1], grey.shape[0]), MappingProxyType(lines), border, factor)


def _in_scan(turns: int, shape: tuple[int, ...], slope: float, start: float) -> Floats:
    """The line at depth `start` + `slope` * column of the side that `turns` quarter turns bring up: its ends, left to
    right (top, bottom), downwards (left, right), with (0, 0) at the corner of the first pixel."""
    rows, columns = shape
    width = columns if turns % 2 == 0 else rows
    along = np.array([0.0, float(width)])
    depth = start + slope * (along - 0.5)
    if turns == 0:
        return np.stack([along, depth], axis=1)
    if turns == 1:
        return np.stack([columns - depth, along], axis=1)
    if turns == 2:
        return np.stack([columns - along, rows - depth], axis=1)[::-1]
    return np.stack([depth, rows - along], axis=1)[::-1]


def _crossing(one: Floats, two: Floats) -> Floats:
    along, other = one[1] - one[0], two[1] - two[0]
    part = np.linalg.solve(np.stack([along, -other], axis=1), two[0] - one[0])
    return np.asarray(one[0] + part[0] * along)


def _edge(small: Reals, low: float, high: float) -> tuple[float, float] | None:
    """Slope and start of the border's inner edge along the upper side of `small`; None where there is none."""
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
    return float(slope), float(start)
