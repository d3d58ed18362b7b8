"""Match tiles of A in B under a current map: where each tile really lies, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from coincide.ghost.alignment import Alignment, Floats
from coincide.ghost.orientation import Peaks, Reals, correlate, gradient_floor, orientation, peaks

APRON_PX = 4  # beyond the search range, for the derivative filters
_ROUND = 0.10  # least over greatest curvature of the peak: below it the tile is one straight edge


@dataclass(frozen=True, slots=True)
class Matches:
    """Where tiles of A seem to lie in B. In poor scans most of these may be wrong: consensus decides.

    a_px, b_px (n, 2): the centre of the tile in A, and where that lies in B. off_px (n, 2): how far that is,
    in pixels of A, from where the map put it. doubt (n,): expected error relative to the typical tile's.
    asked: tiles with texture that were looked for; shown: tiles laid out on the part of A that B shows.
    """

    a_px: Floats
    b_px: Floats
    off_px: Floats
    doubt: Floats
    asked: int
    shown: int


def tile_centres(shape: tuple[int, int], tile: int, count: int, rim: int) -> Floats:
    """About `count` tile centres (n, 2) as x, y on an even grid over an image of `shape` (rows, columns)."""
    rows, columns = shape[0] - 2 * rim - tile, shape[1] - 2 * rim - tile
    if rows < 1 or columns < 1:
        return np.empty((0, 2))
    step = max(math.sqrt(rows * columns / count), tile * 0.4)
    ys = np.linspace(0, rows, max(2, round(rows / step) + 1)).astype(int) + rim + tile // 2
    xs = np.linspace(0, columns, max(2, round(columns / step) + 1)).astype(int) + rim + tile // 2
    grid = np.meshgrid(xs, ys)
    return np.stack([grid[0].ravel(), grid[1].ravel()], axis=1).astype(np.float64)


def _no_matches(asked: int) -> Matches:
    none = np.empty((0, 2))
    return Matches(none, none, none, np.empty(0), 0, asked)


def match(
    a: Reals, b: Reals, alignment: Alignment, centres: Floats, tile: int, reach: int
) -> tuple[Matches, Peaks | None]:
    """Look for the tiles (side `tile`, even) of `a` around `centres` in `b`, up to `reach` pixels off."""
    rim = reach + APRON_PX
    shown = centres[_inside_b(centres, tile / 2 + rim, alignment, b.shape)]
    if not len(shown):
        return _no_matches(0), None
    of = _cut(a, shown, tile + 2 * APRON_PX)
    within = _cut_through(b, alignment, shown, tile + 2 * rim)
    floor_a, floor_b = _floor_of(of), _floor_of(within)
    field_a = orientation(of, floor_a)[:, APRON_PX:-APRON_PX, APRON_PX:-APRON_PX]
    field_b = orientation(within, floor_b)[:, APRON_PX:-APRON_PX, APRON_PX:-APRON_PX]
    field_a = field_a - field_a.mean(axis=(1, 2), keepdims=True)
    energy_a = (np.abs(field_a) ** 2).sum(axis=(1, 2))
    textured = energy_a > 0.02 * tile * tile
    if not textured.any():
        return _no_matches(len(shown)), None
    field_a, field_b, energy_a = field_a[textured], field_b[textured], energy_a[textured]
    agreement, energy_b = correlate(field_a, field_b)
    least = 0.02 * tile * tile
    surface = agreement / np.sqrt(energy_a[:, None, None] * np.maximum(energy_b, least))
    found = peaks(surface.astype(np.float32))
    values = np.linalg.eigvalsh(found.stiff)
    good = found.inside & (values[:, 0] > _ROUND * values[:, 1]) & (values[:, 0] > 0)
    at = shown[textured][good]
    off = found.shift_px[good]
    half = np.array([0.5, 0.5])  # an even tile's centre lies half a pixel up and left of its middle index
    # Measured on photographs with grain: the error of a peak goes as its curvature over what is left unexplained.
    trust = values[good, 0] / (1.02 - np.minimum(found.score[good], 1.0))
    doubt = np.sqrt(np.median(trust) / trust) if len(trust) else trust
    matches = Matches(
        at - half,
        alignment.to_b(at - half + off),
        off,
        np.clip(doubt, 0.4, 3.0),
        int(textured.sum()),
        len(shown),
    )
    return matches, found


def _floor_of(tiles: Reals) -> float:
    return gradient_floor(tiles[:: max(1, len(tiles) // 60)])


def _inside_b(
    centres: Floats, margin: float, alignment: Alignment, shape: tuple[int, ...]
) -> npt.NDArray[np.bool_]:
    corners = np.array([[-1, -1], [1, -1], [-1, 1], [1, 1]]) * margin
    seen = alignment.to_b(centres[:, None, :] + corners)
    return np.asarray(
        ((seen >= 1) & (seen <= np.array([shape[1] - 2, shape[0] - 2]))).all(axis=(1, 2)), np.bool_
    )


def _cut(image: Reals, centres: Floats, side: int) -> Reals:
    tops = centres.astype(int) - side // 2
    return np.stack([image[y : y + side, x : x + side] for x, y in tops])


def _cut_through(image: Reals, alignment: Alignment, centres: Floats, side: int) -> Reals:
    """Tiles of B as A would see them: (n, side, side), sampled through the map."""
    out = np.empty((len(centres), side, side), np.float32)
    steps = np.arange(side) - side // 2
    for index, (x, y) in enumerate(centres.astype(int)):
        grid = np.stack(np.meshgrid(x + steps, y + steps), axis=-1).astype(np.float64)
        out[index] = sample(image, alignment.to_b(grid))
    return out


def sample(image: Reals, points: Floats) -> Reals:
    """`image` at `points` (..., 2) as x, y, linearly between pixels, from the part of it that is needed."""
    x, y = points[..., 0], points[..., 1]
    low = np.maximum(np.floor([x.min(), y.min()]).astype(int) - 1, 0)
    high = np.ceil([x.max(), y.max()]).astype(int) + 2
    part = image[low[1] : high[1], low[0] : high[0]]
    where = np.stack([y - low[1], x - low[0]])
    return np.asarray(ndimage.map_coordinates(part, where, order=1, mode="nearest"), np.float32)
