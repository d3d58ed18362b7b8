"""Write scan B laid on scan A: what the person needs next. Bits and colours are kept."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
from scipy import ndimage

from coincide.errors import BadInput
from coincide.scans.alignment import Alignment
from coincide.scans.file import Pixels, read_pixels
from coincide.scans.pair import Compared

_STRIP_PIXELS = 1_500_000
_PAD_PX = 12  # a cubic spline's prefilter has died away by then


def write_registered(
    compared: Compared, path_b: Path, out: Path, advance: Callable[[float], None] = lambda _: None
) -> Path:
    """B in A's frame, as a deflated TIFF of B's own depth; black where B does not reach. Never overwrites.

    `advance` is called with the fraction done.
    """
    import tifffile

    if out.exists():
        raise BadInput(f"{out} exists already and stays as it is: choose another name.")
    pixels, info = read_pixels(path_b)
    width, height = compared.registration.frame_a_px
    shape = (height, width, *pixels.shape[2:])
    laid = np.zeros(shape, pixels.dtype)
    strip = max(16, _STRIP_PIXELS // width)
    for top in range(0, height, strip):
        bottom = min(top + strip, height)
        laid[top:bottom] = _strip(pixels, compared.registration.alignment, top, bottom, width)
        advance(bottom / height)
    dpi = compared.a.dpi
    try:
        tifffile.imwrite(
            out,
            laid,
            photometric="rgb" if info.channels == 3 else "minisblack",
            compression="zlib",
            predictor=True,
            resolution=(dpi, dpi) if dpi else None,
            resolutionunit="INCH" if dpi else None,
            software="coincide",
            metadata=None,
        )
    except OSError as error:
        raise BadInput(f"{out} cannot be written: {error.strerror}.") from error
    return out


def _strip(pixels: Pixels, alignment: Alignment, top: int, bottom: int, width: int) -> Pixels:
    grid = np.stack(
        np.meshgrid(np.arange(width, dtype=np.float64), np.arange(top, bottom, dtype=np.float64)), axis=-1
    )
    points = alignment.to_b(grid)
    x, y = points[..., 0], points[..., 1]
    out = np.zeros((bottom - top, width, *pixels.shape[2:]), pixels.dtype)
    seen = (x >= 0) & (y >= 0) & (x <= pixels.shape[1] - 1) & (y <= pixels.shape[0] - 1)
    if not seen.any():
        return out
    left, above = max(0, math.floor(x.min()) - _PAD_PX), max(0, math.floor(y.min()) - _PAD_PX)
    right, below = math.ceil(x.max()) + _PAD_PX, math.ceil(y.max()) + _PAD_PX
    part = pixels[above:below, left:right]
    where = np.stack([y - above, x - left])
    full = np.iinfo(pixels.dtype).max
    planes = part[..., None] if part.ndim == 2 else part
    into = out[..., None] if out.ndim == 2 else out
    for channel in range(planes.shape[-1]):
        plane = ndimage.spline_filter(planes[..., channel], order=3, output=np.float32, mode="mirror")
        value = ndimage.map_coordinates(plane, where, order=3, mode="mirror", prefilter=False)
        into[..., channel] = np.where(seen, np.clip(np.rint(value), 0, full), 0)
    return out
