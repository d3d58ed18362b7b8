"""Match tiles of A in B under a current map: where each tile really lies, and how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from coincide.scans.register.alignment import Alignment, Floats
from coincide.scans.register.coarse import block_mean
from coincide.scans.register.orientation import Reals, correlate, gradient_floor, orientation, peaks
from coincide.scans.workers import spread

APRON_PX = 4  # beyond the search range, for the derivative filters
_LEAST_ENERGY = 0.02  # of a full tile: below it there is nothing to hold on to
_PART = 24  # tiles at a time
_ROUND = 0.10  # least over greatest curvature of the peak: below it the tile is one straight edge


@dataclass(frozen=True, slots=True)
class Matches:
    """Where tiles of A seem to lie in B. In poor scans most of these may be wrong: consensus decides.

    a_px, b_px (n, 2): the centre of the tile in A, and where that lies in B. off_px (n, 2): how far that is,
    in pixels of A, from where the map put it. doubt (n,): expected error relative to the typical tile's.
    area (n,): how much of the frame each speaks for, tiles at the rim for the rim beyond them.
    asked: tiles with texture that were looked for; shown: tiles laid out on the part of A that B shows.
    """

    a_px: Floats
    b_px: Floats
    off_px: Floats
    doubt: Floats
    area: Floats
    asked: int
    shown: int


def tile_centres(shape: tuple[int, int], tile: int, count: int) -> tuple[Floats, Floats]:
    """About `count` tile centres (n, 2) as x, y on an even grid over an image of `shape` (rows, columns).

    Also (n,): the part of the image nearest to each, 0 to 1.
    """
    room = [side - tile - 2 * APRON_PX for side in shape]
    if min(room) < 1:
        return np.empty((0, 2)), np.empty(0)
    step = max(math.sqrt(room[0] * room[1] / count), tile * 0.4)
    places, parts = [], []
    for side, free in zip(shape, room, strict=True):
        place = np.linspace(0, free, max(2, round(free / step) + 1)).astype(int) + APRON_PX + tile // 2
        bounds = np.concatenate([[0.0], (place[1:] + place[:-1]) / 2, [float(side)]])
        places.append(place)
        parts.append(np.diff(bounds) / side)
    xs, ys = np.meshgrid(places[1], places[0])
    centres = np.stack([xs.ravel(), ys.ravel()], axis=1).astype(np.float64)
    return centres, np.outer(parts[0], parts[1]).ravel()


def _no_matches(asked: int) -> Matches:
    none = np.empty((0, 2))
    return Matches(none, none, none, np.empty(0), np.empty(0), 0, asked)


def match(a: Reals, b: Reals, alignment: Alignment, tile: int, reach: int, count: int) -> Matches:
    """Look for about `count` tiles (side `tile`, even) of `a` in `b`, up to `reach` pixels from `alignment`."""
    rim = reach + APRON_PX
    centres, areas = tile_centres((a.shape[0], a.shape[1]), tile, count)
    inside = _inside_b(centres, tile / 2, alignment, b.shape)
    shown, areas = centres[inside], areas[inside]
    if not len(shown):
        return _no_matches(0)
    parts = np.array_split(shown, max(1, len(shown) // _PART))
    of = spread(lambda part: _cut(a, part, tile + 2 * APRON_PX), parts)
    within = spread(lambda part: _cut_through(b, alignment, part, tile + 2 * rim), parts)
    floors = _floor_of(np.concatenate(of)), _floor_of(np.concatenate(within))
    done = spread(lambda k: _surfaces(of[k], within[k], floors), range(len(parts)))
    energy_a = np.concatenate([energy for _, energy in done])
    textured = energy_a > _LEAST_ENERGY * tile * tile
    if not textured.any():
        return _no_matches(len(shown))
    found = peaks(np.concatenate([surface for surface, _ in done])[textured])
    values = np.linalg.eigvalsh(found.stiff)
    good = found.inside & (values[:, 0] > _ROUND * values[:, 1]) & (values[:, 0] > 0)
    at = shown[textured][good]
    off = found.shift_px[good]
    half = np.array([0.5, 0.5])  # an even tile's centre lies half a pixel up and left of its middle index
    # Measured on photographs with grain: the error of a peak goes as its curvature over what is left unexplained.
    trust = values[good, 0] / (1.02 - np.minimum(found.score[good], 1.0))
    doubt = np.sqrt(np.median(trust) / trust) if len(trust) else trust
    return Matches(
        at - half,
        alignment.to_b(at - half + off),
        off,
        np.clip(doubt, 0.4, 3.0),
        areas[textured][good],
        int(textured.sum()),
        len(shown),
    )


def match_at(a: Reals, b: Reals, alignment: Alignment, factor: int, reach: int, count: int) -> Matches:
    """`match` on copies reduced by `factor` (A) and what suits it (B); answers in full pixels."""
    factor_b = max(1, round(factor * alignment.gauge))
    small_a, small_b = block_mean(a, factor), block_mean(b, factor_b)
    tile = int(np.clip(min(small_a.shape) // 8, 24, 96)) // 2 * 2
    found = match(small_a, small_b, alignment.reduced(factor, factor_b), tile, reach, count)
    return replace(
        found,
        a_px=(found.a_px + 0.5) * factor - 0.5,
        b_px=(found.b_px + 0.5) * factor_b - 0.5,
        off_px=found.off_px * factor,
    )


def agreement_around(
    a: Reals, b: Reals, alignment: Alignment, centres: Floats, tile: int, reach: int
) -> Reals | None:
    """How well all tiles (side `tile`, even) about `centres` (n, 2) of `a` together agree with `b` at every common
    shift up to `reach` pixels from `alignment`: (2 reach + 1, 2 reach + 1), None where no tile fits into both."""
    rim = reach + APRON_PX
    half = tile // 2 + APRON_PX
    room = (centres >= half) & (centres < np.array([a.shape[1], a.shape[0]]) - half)
    chosen = np.rint(centres[room.all(axis=1)])
    chosen = chosen[_inside_b(chosen, tile / 2, alignment, b.shape)]
    if not len(chosen):
        return None
    of, within = _cut(a, chosen, tile + 2 * APRON_PX), _cut_through(b, alignment, chosen, tile + 2 * rim)
    inner = (slice(None), slice(APRON_PX, -APRON_PX), slice(APRON_PX, -APRON_PX))
    field_a = orientation(of, _floor_of(of))[inner]
    field_b = orientation(within, _floor_of(within))[inner]
    agreement, energy = correlate(field_a - field_a.mean(axis=(1, 2), keepdims=True), field_b)
    return np.asarray(agreement.sum(axis=0) / np.sqrt(np.maximum(energy.sum(axis=0), 1e-6)), np.float32)


def _surfaces(of: Reals, within: Reals, floors: tuple[float, float]) -> tuple[Reals, Floats]:
    """Agreement (n, 2r + 1, 2r + 1), 0 to 1, of cut-out tiles with their aprons, and the energy of A's."""
    field_a = orientation(of, floors[0])[:, APRON_PX:-APRON_PX, APRON_PX:-APRON_PX]
    field_b = orientation(within, floors[1])[:, APRON_PX:-APRON_PX, APRON_PX:-APRON_PX]
    field_a = field_a - field_a.mean(axis=(1, 2), keepdims=True)
    energy_a = (np.abs(field_a) ** 2).sum(axis=(1, 2))
    agreement, energy_b = correlate(field_a, field_b)
    least = np.float32(_LEAST_ENERGY * field_a.shape[1] * field_a.shape[2])
    agreement /= np.sqrt(np.maximum(energy_a, least)[:, None, None] * np.maximum(energy_b, least))
    return agreement, energy_a.astype(np.float64)


def _floor_of(tiles: Reals) -> float:
    return gradient_floor(tiles[:: max(1, len(tiles) // 60)])


def _inside_b(
    centres: Floats, margin: float, alignment: Alignment, shape: tuple[int, ...]
) -> npt.NDArray[np.bool_]:
    if not len(centres):
        return np.zeros(0, np.bool_)
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
    last = np.array([image.shape[1] - 1, image.shape[0] - 1])
    for index, (x, y) in enumerate(centres.astype(int)):
        grid = np.stack(np.meshgrid(x + steps, y + steps), axis=-1).astype(np.float64)
        # Beyond B's edge its last pixel goes on: even tone, where nothing matches.
        out[index] = sample(image, np.clip(alignment.to_b(grid), 0, last))
    return out


def sample(image: Reals, points: Floats) -> Reals:
    """`image` at `points` (..., 2) as x, y, linearly between pixels, from the part of it that is needed."""
    x, y = points[..., 0], points[..., 1]
    low = np.maximum(np.floor([x.min(), y.min()]).astype(int) - 1, 0)
    high = np.ceil([x.max(), y.max()]).astype(int) + 2
    part = image[low[1] : high[1], low[0] : high[0]]
    where = np.stack([y - low[1], x - low[0]])
    return np.asarray(ndimage.map_coordinates(part, where, order=1, mode="nearest"), np.float32)
