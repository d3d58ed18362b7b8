"""Measure the displacement of one region closely: at full resolution, to a fraction of a pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from coincide.scans.files.scan import Scan
from coincide.scans.register.alignment import Floats
from coincide.scans.register.coarse import block_mean
from coincide.scans.register.lay import Registration
from coincide.scans.register.orientation import Field, Reals, correlate, gradient_floor, orientation, peaks
from coincide.scans.register.tiles import sample

_MOST_CELLS = 144
_REACH_PX = 5
_APRON_PX = 4
_BLOCKS = 9


@dataclass(frozen=True, slots=True)
class Displaced:
    """by_px, u_px (2,): displacement and its standard uncertainty, pixels of A. score: agreement at `by_px`, 0 to 1.

    gain: agreement at `by_px` less agreement at no shift. confidence: 0 to 1 from how many deviations (of the
    jackknife) that gain is worth.
    """

    by_px: Floats
    u_px: Floats
    score: float
    gain: float
    confidence: float


def refine(
    a: Scan, b: Scan, registration: Registration, corners: Floats, cell_px: int, guess: Floats, factor: int
) -> Displaced | None:
    """Displacement of the cells at `corners` (n, 2; side `cell_px`; pixels of A), near `guess`.

    Works at the finest factor that keeps a cell at 64 pixels or less; None where the search finds no peak.
    """
    fine = max(registration.factor, math.ceil(cell_px / 64), factor // 3)
    if len(corners) > _MOST_CELLS:
        corners = corners[np.linspace(0, len(corners) - 1, _MOST_CELLS).astype(int)]
    reach = _REACH_PX if fine == factor else _REACH_PX * 2
    side = round(cell_px / fine)
    corners_fine = np.round(corners / fine)
    keep = _within(corners_fine, side, (a.grey.shape[0] // fine, a.grey.shape[1] // fine))
    corners_fine = corners_fine[keep]
    if len(corners_fine) < 4:
        return None
    of = _field_of_a(a.grey, corners_fine, side, fine)
    here = guess / fine
    still = _agreement(of, _field_of_b(b, registration, corners_fine, side, fine, np.zeros(2), 1), 1)[0]
    for _ in range(3):
        within = _field_of_b(b, registration, corners_fine, side, fine, here, reach)
        agreement, energy = _agreement(of, within, reach)
        step = _peak(agreement, energy)
        if step is None:
            return None
        here = here + step
        reach = 3
    blocks = _blocks(corners_fine)
    leave = [_peak(agreement[blocks != k], energy[blocks != k]) for k in np.unique(blocks)]
    told = np.array([peak for peak in leave if peak is not None])
    if len(told) < 3 or len(told) < len(leave):
        return None
    n = len(told)
    # Neighbouring blocks share edges, so the jackknife is short: by 1.6 on pairs of known displacement.
    u = 1.6 * np.sqrt((n - 1) / n * ((told - told.mean(axis=0)) ** 2).sum(axis=0)) * fine
    middle = agreement.shape[1] // 2
    gains = agreement[:, middle, middle] - still[:, 1, 1]
    worth = float(gains.sum() / (np.sqrt(len(gains)) * gains.std() + 1e-9))
    at = (middle, middle)
    unity = float((np.abs(of) ** 2).sum()) * float(energy[:, *at].sum())
    return Displaced(
        by_px=here * fine,
        u_px=np.maximum(u, 0.02 * fine),
        score=float(agreement[:, *at].sum()) / math.sqrt(max(unity, 1e-6)),
        gain=float(gains.sum()),
        confidence=float(1 - math.exp(-(max(worth, 0.0) ** 2) / 6)),
    )


def _within(corners: Floats, side: int, shape: tuple[int, int]) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    margin = _APRON_PX + 1
    return np.asarray(
        (corners[:, 0] >= margin)
        & (corners[:, 1] >= margin)
        & (corners[:, 0] + side + margin < shape[1])
        & (corners[:, 1] + side + margin < shape[0]),
        np.bool_,
    )


def _field_of_a(grey: Reals, corners: Floats, side: int, fine: int) -> Field:
    size = side + 2 * _APRON_PX
    cut = np.empty((len(corners), size, size), np.float32)
    for k, (x, y) in enumerate(corners.astype(int) - _APRON_PX):
        cut[k] = block_mean(grey[y * fine : (y + size) * fine, x * fine : (x + size) * fine], fine)
    return _trimmed(cut)


def _field_of_b(
    b: Scan, registration: Registration, corners: Floats, side: int, fine: int, by: Floats, reach: int
) -> Field:
    """Cells of B, shifted by `by`, with `reach` more all round, as A would see them at `fine`."""
    size = side + 2 * (_APRON_PX + reach)
    out = np.empty((len(corners), size, size), np.float32)
    steps = np.arange(size) - _APRON_PX - reach
    blur = 0.45 * math.sqrt(max((fine * registration.at_centre.scale) ** 2 - 1, 0.0))
    last = np.array([b.grey.shape[1] - 1, b.grey.shape[0] - 1])
    for k, (x, y) in enumerate(corners):
        grid = np.stack(np.meshgrid(x + by[0] + steps, y + by[1] + steps), axis=-1)
        points = registration.alignment.to_b((grid + 0.5) * fine - 0.5)
        np.clip(points, 0, last, out=points)
        out[k] = _blurred_sample(b.grey, points, blur)
    return _trimmed(out)


def _blurred_sample(image: Reals, points: Floats, blur: float) -> Reals:
    if blur < 0.3:
        return sample(image, points)
    pad = math.ceil(3 * blur) + 2
    x, y = points[..., 0], points[..., 1]
    low = np.maximum(np.floor([x.min(), y.min()]).astype(int) - pad, 0)
    high = np.ceil([x.max(), y.max()]).astype(int) + pad
    part = ndimage.gaussian_filter(image[low[1] : high[1], low[0] : high[0]], blur, truncate=3.0)
    return sample(part, points - low)


def _trimmed(cut: Reals) -> Field:
    field = orientation(cut, gradient_floor(cut[:: max(1, len(cut) // 40)]))
    field -= field.mean(axis=(0, 1, 2))
    return field[:, _APRON_PX:-_APRON_PX, _APRON_PX:-_APRON_PX]


def _agreement(of: Field, within: Field, reach: int) -> tuple[Reals, Reals]:
    del reach
    return correlate(of, within)


def _peak(agreement: Reals, energy: Reals) -> Floats | None:
    pooled = agreement.sum(axis=0) / np.sqrt(np.maximum(energy.sum(axis=0), 1e-6))
    found = peaks(pooled[None].astype(np.float32))
    return np.asarray(found.shift_px[0]) if found.inside[0] else None


def _blocks(corners: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Compact groups of cells, at most nine, for the jackknife: neighbours err together."""
    n = min(_BLOCKS, len(corners))
    order = np.lexsort((corners[:, 0], corners[:, 1]))
    label = np.empty(len(corners), np.int64)
    label[order] = np.arange(len(corners)) * n // len(corners)
    return label
