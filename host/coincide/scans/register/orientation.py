"""The measure that survives a contrast flip: the orientation of edges, taken to twice its angle.

Doubling the angle makes dark-to-bright and bright-to-dark the same edge, so foliage that is bright in one
frame and dark in the other still matches; normalising by the gradient's size leaves tone and exposure out.
(Orientation correlation: Fitch, Kadyrov, Christmas and Kittler, BMVC 2002; the double angle is Granlund's,
1978. Both from memory.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

from coincide.scans.workers import spread

Reals = npt.NDArray[np.float32]
Field = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float64]

SIGMA_PX = 1.2  # scale of the derivative; doubling the angle doubles the bandwidth, so not below 1
_LEVEL_STEP = 1.0 / 255.0 / 12**0.5  # rms of rounding to 8 bits: never trust gradients below it
_LEVELS = 2.0
_BLOCK_PX = 16
_OVER_GRAIN = 1.5
_PEAKS_AT_ONCE = 512
_CHUNK_BYTES = 16_000_000  # of one transform; small enough to stay in the cache's reach


def orientation(images: Reals, floor: float | None = None, sigma_px: float = SIGMA_PX) -> Field:
    """Double-angle orientation of `images` (..., h, w): complex64 of the same shape, modulus 0 to 1.

    `floor` is the gradient at which the modulus is one half; by default `gradient_floor` of `images`.
    """
    along_x = _derivative(images, -1, -2, sigma_px)
    along_y = _derivative(images, -2, -1, sigma_px)
    if floor is None:
        floor = _floor(along_x, along_y)
    gradient = along_x + 1j * along_y
    power = along_x * along_x + along_y * along_y + np.float32(floor * floor)
    gradient *= gradient
    gradient /= power
    return gradient.astype(np.complex64, copy=False)


def gradient_floor(image: Reals, sigma_px: float = SIGMA_PX) -> float:
    """The gradient (grey levels a pixel) that tells texture from grain in `image` (h, w)."""
    return _floor(_derivative(image, -1, -2, sigma_px), _derivative(image, -2, -1, sigma_px))


def _derivative(images: Reals, along: int, across: int, sigma_px: float) -> Reals:
    smooth = ndimage.gaussian_filter1d(images, sigma_px, axis=across, truncate=3.0)
    return ndimage.gaussian_filter1d(smooth, sigma_px, axis=along, order=1, truncate=3.0)


def _floor(along_x: Reals, along_y: Reals) -> float:
    """What the gradient is where there is little to see: grain, or the weakest texture of a full picture.

    Medians over blocks, then a low quantile of those: the median of the whole would silence fine texture
    lying in a picture full of coarse edges.
    """
    size = np.hypot(along_x, along_y)
    block = min(_BLOCK_PX, *size.shape[-2:])
    rows, columns = size.shape[-2] // block, size.shape[-1] // block
    cut = size[..., : rows * block, : columns * block].reshape(-1, rows, block, columns, block)
    medians = np.median(cut.swapaxes(2, 3).reshape(-1, block * block), axis=1)
    return float(max(_OVER_GRAIN * np.quantile(medians, 0.2), _LEVEL_STEP * _LEVELS))


def without_drift(field: Field, sigma_px: float) -> Field:
    """`field` less its local mean: a scene of mostly upright edges must not match itself everywhere."""
    axes = (-2, -1)
    real = ndimage.gaussian_filter(field.real, sigma_px, axes=axes, truncate=2.5)
    imag = ndimage.gaussian_filter(field.imag, sigma_px, axes=axes, truncate=2.5)
    return (field - (real + 1j * imag)).astype(np.complex64, copy=False)


def correlate(of: Field, within: Field) -> tuple[Reals, Reals]:
    """Sliding agreement of `of` (n, h, w) inside `within` (n, h + 2r, w + 2r).

    Returns (agreement, energy), each (n, 2r + 1, 2r + 1): the real part of the summed product at every
    shift, and the energy of the part of `within` that it was compared with. Element [k, r, r] is no shift.
    """
    energy = np.concatenate([_box(np.abs(one) ** 2, *of.shape[1:]) for one in _parts(within)])
    return agreement(of, within), energy.astype(np.float32)


def agreement(of: Field, within: Field) -> Reals:
    """The first part of `correlate` alone."""
    n, height, width = of.shape
    span_y, span_x = within.shape[1] - height + 1, within.shape[2] - width + 1
    size = (fft.next_fast_len(within.shape[1]), fft.next_fast_len(within.shape[2]))
    out = np.empty((n, span_y, span_x), np.float32)
    step = max(1, int(_CHUNK_BYTES / (size[0] * size[1] * 8)))
    for start in range(0, n, step):
        part = slice(start, start + step)
        spectrum = fft.fft2(within[part], s=size)
        spectrum *= np.conj(fft.fft2(of[part], s=size))
        out[part] = fft.ifft2(spectrum, overwrite_x=True).real[:, :span_y, :span_x]
    return out


def _parts(within: Field) -> list[Field]:
    step = max(1, int(_CHUNK_BYTES / (within.shape[1] * within.shape[2] * 8)))
    return [within[start : start + step] for start in range(0, len(within), step)]


def _box(values: Reals, height: int, width: int) -> Floats:
    """Sums over every (height, width) box of `values` (n, h, w)."""
    total = np.zeros((values.shape[0], values.shape[1] + 1, values.shape[2] + 1))
    np.cumsum(values, axis=1, out=total[:, 1:, 1:])
    np.cumsum(total[:, :, 1:], axis=2, out=total[:, :, 1:])
    rows = total[:, height:] - total[:, :-height]
    return np.asarray(rows[:, :, width:] - rows[:, :, :-width])


@dataclass(frozen=True, slots=True)
class Peaks:
    """Best shift in each of n surfaces.

    shift_px (n, 2): x, y to a fraction of a pixel, from no shift. score (n,): agreement 0 to 1.
    clear (n,): how far the peak stands above the surface, in the surface's own (robust) deviations.
    rival (n,): best score elsewhere (further than three pixels) over the peak's. stiff (n, 2, 2): minus the
    curvature at
    the peak, per square pixel. inside (n,): the peak is not on the rim of the search.
    """

    shift_px: Floats
    score: Floats
    clear: Floats
    rival: Floats
    stiff: Floats
    inside: npt.NDArray[np.bool_]


def peaks(surfaces: Reals) -> Peaks:
    """Find the peak of each of `surfaces` (n, 2r + 1, 2r + 1), r at least 2, by a quadratic through 3 x 3."""
    parts = spread(_peaks, np.array_split(surfaces, max(1, len(surfaces) // _PEAKS_AT_ONCE)))
    return Peaks(*(np.concatenate([getattr(part, name) for part in parts]) for name in Peaks.__slots__))


def _peaks(surfaces: Reals) -> Peaks:
    n, rows, columns = surfaces.shape
    flat = surfaces.reshape(n, -1)
    best = flat.argmax(axis=1)
    y, x = best // columns, best % columns
    inside = (y > 0) & (y < rows - 1) & (x > 0) & (x < columns - 1)
    cy, cx = np.clip(y, 1, rows - 2), np.clip(x, 1, columns - 2)
    index = np.arange(n)

    def at(dy: int, dx: int) -> Floats:
        return np.asarray(surfaces[index, cy + dy, cx + dx], dtype=np.float64)

    gx, gy = (at(0, 1) - at(0, -1)) / 2, (at(1, 0) - at(-1, 0)) / 2
    hxx = at(0, 1) + at(0, -1) - 2 * at(0, 0)
    hyy = at(1, 0) + at(-1, 0) - 2 * at(0, 0)
    hxy = (at(1, 1) + at(-1, -1) - at(1, -1) - at(-1, 1)) / 4
    determinant = hxx * hyy - hxy * hxy
    bowl = (determinant > 1e-12) & (hxx < 0)
    safe = np.where(bowl, determinant, 1.0)
    dx = np.where(bowl, (hxy * gy - hyy * gx) / safe, 0.0)
    dy = np.where(bowl, (hxy * gx - hxx * gy) / safe, 0.0)
    near = (np.abs(dx) <= 1) & (np.abs(dy) <= 1)
    dx, dy = np.where(near, dx, 0.0), np.where(near, dy, 0.0)
    shift = np.stack([cx + dx - (columns - 1) / 2, cy + dy - (rows - 1) / 2], axis=1)

    score = flat[index, best].astype(np.float64)
    middle = np.median(flat, axis=1)
    spread = 1.4826 * np.median(np.abs(flat - middle[:, None]), axis=1) + 1e-9
    far = (np.abs(np.arange(rows)[None, :, None] - y[:, None, None]) > 3) | (
        np.abs(np.arange(columns)[None, None, :] - x[:, None, None]) > 3
    )
    elsewhere = np.where(far, surfaces, -np.inf).reshape(n, -1).max(axis=1)
    stiff = -np.stack([np.stack([hxx, hxy], -1), np.stack([hxy, hyy], -1)], -2)
    return Peaks(
        shift_px=shift,
        score=score,
        clear=(score - middle) / spread,
        rival=np.where(score > 0, np.maximum(elsewhere, 0.0) / np.maximum(score, 1e-9), 1.0),
        stiff=stiff,
        inside=inside & bowl,
    )
