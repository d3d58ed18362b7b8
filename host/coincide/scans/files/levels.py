"""From the pixels of a scan to the grey that is measured: luma, CMYK to RGB, and levels that use the range."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Grey = npt.NDArray[np.float32]
Pixels = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]

LUMA = np.array([0.299, 0.587, 0.114], np.float32)  # ITU-R BT.601
_STRIP_ROWS = 256
_ENDS = (0.001, 0.999)
_USED = 0.5  # of full scale between the ends: a scan that uses less is stretched
# 16 bits, stretched by this, still step finer than 8 bits do unstretched.
_MOST_STRETCH = 100.0
_SAMPLES = 1_000_000


def to_grey(pixels: np.ndarray[Any, Any]) -> Grey:
    """Luma in 0..1, strip by strip so that a large scan is never held twice in floating point.

    Sixteen bits that use little of their range, as a dark linear scan does, are stretched to it: only edges are
    measured, and what counts as texture is told by its size in grey levels.
    """
    full = float(np.iinfo(pixels.dtype).max)
    grey = np.empty(pixels.shape[:2], np.float32)
    weights = LUMA / np.float32(full)
    for top in range(0, grey.shape[0], _STRIP_ROWS):
        strip = pixels[top : top + _STRIP_ROWS]
        into = grey[top : top + _STRIP_ROWS]
        if strip.ndim == 3:
            np.matmul(strip.astype(np.float32), weights, out=into)
        else:
            np.multiply(strip, np.float32(1.0 / full), out=into)
    if pixels.dtype == np.uint16:
        _stretch(grey)
    return grey


def _stretch(grey: Grey) -> None:
    flat = grey.reshape(-1)
    low, high = np.quantile(flat[:: max(1, flat.size // _SAMPLES)], _ENDS)
    if not 0 < high - low < _USED:
        return
    gain = min(_USED / float(high - low), _MOST_STRETCH)
    grey -= np.float32(low)
    grey *= np.float32(gain)
    np.clip(grey, 0, 1, out=grey)


def rgb_of_cmyk(pixels: Pixels) -> Pixels:
    """(h, w, 4 and more) inks, full scale all ink, to (h, w, 3 and more): what is not covered by the ink nor by black.

    The plain formula, without a profile; tones, which edges do not depend on, are as near as that makes them.
    """
    full = np.iinfo(pixels.dtype).max
    out = np.empty((*pixels.shape[:2], pixels.shape[2] - 1), pixels.dtype)
    for top in range(0, pixels.shape[0], _STRIP_ROWS):
        strip = pixels[top : top + _STRIP_ROWS].astype(np.float32)
        bare = full - strip[..., :4]
        out[top : top + _STRIP_ROWS, :, :3] = np.rint(bare[..., :3] * bare[..., 3:] / full)
        out[top : top + _STRIP_ROWS, :, 3:] = pixels[top : top + _STRIP_ROWS, :, 4:]
    return out
