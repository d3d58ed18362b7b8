"""Lay scan B on scan A: pixels of B where A's frame has them, strip by strip, so that large scans fit in memory.

Where the map is whole pixels (none, a shift, a mirroring or quarter turn) the pixels are taken over untouched. Else
they come from a cubic spline, after a blur that a finer B needs so that its grain is averaged, not picked out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from coincide.scans.files.levels import Pixels
from coincide.scans.register.alignment import Alignment, Floats

Reals = npt.NDArray[np.float32]
Mask = npt.NDArray[np.bool_]

STRIP_PIXELS = 1_500_000
_PAD_PX = 12  # a cubic spline's prefilter has died away by then
_WHOLE_PX = (
    0.05  # a map this near to whole pixels everywhere is whole: no registration can tell, no eye can see
)
_GRAIN_PX = 192


@dataclass(frozen=True, slots=True)
class Strip:
    """Rows `top` to `bottom` of A's frame. values (rows, width, samples): B's there, in B's own units, 0 outside;
    seen (rows, width): where B has a pixel."""

    top: int
    bottom: int
    values: Reals
    seen: Mask


def laid_strips(pixels: Pixels, alignment: Alignment, frame_px: tuple[int, int]) -> Iterator[Strip]:
    """B's `pixels` (h, w) or (h, w, samples) as they lie on A's frame (width, height)."""
    width, height = frame_px
    planes = pixels[..., None] if pixels.ndim == 2 else pixels
    whole = is_whole(alignment, frame_px)
    blur = blur_px(alignment)
    step = max(16, STRIP_PIXELS // width)
    for top in range(0, height, step):
        bottom = min(top + step, height)
        grid = np.stack(
            np.meshgrid(np.arange(width, dtype=np.float64), np.arange(top, bottom, dtype=np.float64)), axis=-1
        )
        points = alignment.to_b(grid)
        if whole:
            points = np.rint(points)
        last = np.array([planes.shape[1] - 1, planes.shape[0] - 1])
        seen: Mask = np.asarray(((points >= 0) & (points <= last)).all(axis=-1), np.bool_)
        yield Strip(top, bottom, _values(planes, points, seen, whole, blur), seen)


def is_whole(alignment: Alignment, frame_px: tuple[int, int]) -> bool:
    """Whether every pixel of A falls on a pixel of B."""
    steps = [np.linspace(0, side - 1, 9).round() for side in frame_px]
    points = alignment.to_b(np.stack(np.meshgrid(*steps), axis=-1))
    return bool(np.abs(points - np.rint(points)).max() < _WHOLE_PX)


def blur_px(alignment: Alignment) -> float:
    """Deviation of the gaussian that a finer B is averaged with before it is sampled at A's pitch, pixels of B."""
    return 0.45 * math.sqrt(max(alignment.gauge**2 - 1.0, 0.0))


def grain_kept(alignment: Alignment, frame_px: tuple[int, int]) -> float:
    """What is left of the deviation of grain that is white from pixel to pixel: 1 where pixels are untouched.

    By laying white noise in frame centre and at a corner, where the phases of the samples are all there.
    """
    if is_whole(alignment, frame_px):
        return 1.0
    rng = np.random.default_rng(11)
    kept = []
    for place in (0.5, 0.1):
        corner = np.array([round(place * side) for side in frame_px])
        grid = np.stack(np.meshgrid(np.arange(_GRAIN_PX), np.arange(_GRAIN_PX)), axis=-1) + corner
        points = alignment.to_b(grid)
        points -= np.floor(points.reshape(-1, 2).min(axis=0)) - _PAD_PX  # whole pixels: the phases stay
        size = np.ceil(points.reshape(-1, 2).max(axis=0)).astype(int) + _PAD_PX + 1
        noise = rng.normal(0, 1, (size[1], size[0], 1)).astype(np.float32)
        laid = _sampled(noise, points, blur_px(alignment))
        kept.append(float(laid.std()))
    return float(np.mean(kept))


def _values(planes: Pixels, points: Floats, seen: Mask, whole: bool, blur: float) -> Reals:
    out = np.zeros((*seen.shape, planes.shape[-1]), np.float32)
    if not seen.any():
        return out
    if whole:
        x, y = points[seen].astype(np.intp).T
        out[seen] = planes[y, x]
        return out
    inside = points[seen]
    low = np.maximum(np.floor(inside.min(axis=0)).astype(int) - _PAD_PX, 0)
    high = np.ceil(inside.max(axis=0)).astype(int) + _PAD_PX
    part = planes[low[1] : high[1], low[0] : high[0]]
    out[...] = np.where(seen[..., None], _sampled(part, points - low, blur), 0.0)
    return out


def _sampled(planes: npt.NDArray[np.generic], points: Floats, blur: float) -> Reals:
    where = np.stack([points[..., 1], points[..., 0]])
    out = np.empty((*points.shape[:-1], planes.shape[-1]), np.float32)
    for channel in range(planes.shape[-1]):
        plane = planes[..., channel].astype(np.float32)
        if blur > 0.3:
            plane = ndimage.gaussian_filter(plane, blur, truncate=3.0)
        plane = ndimage.spline_filter(plane, order=3, output=np.float32, mode="mirror")
        out[..., channel] = ndimage.map_coordinates(plane, where, order=3, mode="mirror", prefilter=False)
    return out
