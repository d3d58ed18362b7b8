"""What moved between two registered scans: local displacement with confidence, grouped into regions.

Cells of 16 pixels are compared at every shift up to 24 pixels; the agreement of 3 x 3 cells (48 pixels)
together decides. The same is done on copies reduced two and four times, so that larger things may move
further. A region is reported only where some shift beats no shift, and beats chance, by a wide margin.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage, sparse

from coincide.scans.files.scan import Scan
from coincide.scans.moved.fields import Fields, Mask, fields
from coincide.scans.moved.outlines import WORKING_PIXELS as WORKING_OUTLINES
from coincide.scans.moved.outlines import Outlines, outlines
from coincide.scans.moved.refine import Displaced, refine
from coincide.scans.moved.region import Region, joined, known
from coincide.scans.register.alignment import Floats
from coincide.scans.register.gate import Gate, gate
from coincide.scans.register.lay import Registration
from coincide.scans.register.orientation import Reals, agreement, peaks
from coincide.scans.workers import spread

CELL_PX = 16
REACH_PX = 24
LEAST_MOVE_PX = 1.5
LEAST_REGION_PX = 3 * CELL_PX
WORKING_PIXELS = 8_000_000
_CHANCE = 6.5  # robust deviations above the surface that a shift must reach
_LEAST_SCORE = 0.36  # things that moved agree by 0.43 to 0.95; what grain makes up, by 0.31 at most
_MOST_U_PX = 0.6
_BETTER = 3.0  # of those, above no shift
_AGREE_PX = 1.2

Advance = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Motion:
    """Regions, largest displacement first, and what could have been seen.

    judged: share of the frame with texture enough to tell; told (rows, columns): where, in cells of `cell_px` a
    side from A's upper left; elsewhere only outlines were followed. contours: how many edges were long enough for that;
    least_outline_px: how long that is (NaN where none were looked for). least_region_px, least_move_px, most_move_px:
    the smallest thing looked for and the displacements it was looked for at, pixels of A.
    """

    regions: tuple[Region, ...]
    judged: float
    told: Mask
    cell_px: float
    contours: int
    least_outline_px: float
    least_region_px: float
    least_move_px: float
    most_move_px: float


def motion(
    a: Scan,
    b: Scan,
    registration: Registration,
    advance: Advance = lambda _: None,
    gates: tuple[Gate, Gate] | None = None,
) -> Motion:
    """Find what moved between `a` and `b` under `registration`; `gates`: the film gates, where they were found."""
    gates = gates or (gate(a.grey), gate(b.grey))
    pixels = a.grey.shape[0] * a.grey.shape[1]
    finest = max(registration.factor, math.ceil(math.sqrt(pixels / WORKING_PIXELS)))
    regions: list[Region] = []
    outlined: Outlines | None = None
    most = 0.0
    told, cell_px = np.zeros((1, 1), np.bool_), float(max(a.grey.shape))
    for step in (1, 2, 4):
        factor = finest * step
        if min(a.grey.shape) / factor < 6 * CELL_PX:
            break
        advance(f"looking for what moved, up to {REACH_PX * factor} pixels")
        both = fields(a.grey, b.grey, registration.alignment, factor, gates)
        found, seen = _regions_at(a, b, registration, both, factor)
        if both.grey.size <= WORKING_OUTLINES and outlined is None:
            outlined = outlines(both, registration.trust)
        regions += [region for region in found if not known(region, regions)]
        if step == 1:
            told, cell_px = seen, float(CELL_PX * factor)
        most = REACH_PX * factor
    if outlined is not None:
        regions = joined(regions, outlined.regions)
    regions.sort(key=lambda region: -region.length_px)
    return Motion(
        regions=tuple(regions),
        judged=float(told.mean()),
        told=told,
        cell_px=cell_px,
        contours=0 if outlined is None else outlined.followed,
        least_outline_px=math.nan if outlined is None else outlined.least_px,
        least_region_px=LEAST_REGION_PX * finest,
        least_move_px=LEAST_MOVE_PX * finest,
        most_move_px=most,
    )


# -- cells and windows -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Cells:
    """Agreement (rows, columns, shifts, shifts) of every cell at every shift, and the energies it is out of; of B a
    view of one picture of sums, not numbers of their own. window_b: the same of 3 x 3 cells."""

    agreement: Reals
    energy_a: Floats
    energy_b: Reals
    window_b: Reals


def _cells(of: Fields) -> _Cells:
    rows, columns = of.a.shape[0] // CELL_PX, of.a.shape[1] // CELL_PX
    span = 2 * REACH_PX + 1
    found = np.empty((rows, columns, span, span), np.float32)
    energy_a = np.empty((rows, columns))
    wide = np.pad(of.b, REACH_PX)
    side = CELL_PX + 2 * REACH_PX

    def row_of_cells(row: int) -> None:
        top = row * CELL_PX
        band = of.a[top : top + CELL_PX, : columns * CELL_PX]
        cells = np.ascontiguousarray(band.reshape(CELL_PX, columns, CELL_PX).swapaxes(0, 1))
        view = np.lib.stride_tricks.sliding_window_view(wide[top : top + side], side, axis=1)
        within = np.ascontiguousarray(view[:, ::CELL_PX][:, :columns].swapaxes(0, 1))
        found[row] = agreement(cells, within)
        energy_a[row] = (np.abs(cells) ** 2).sum(axis=(1, 2))

    spread(row_of_cells, range(rows))
    power = np.pad(of.b.real**2 + of.b.imag**2, REACH_PX + CELL_PX)
    return _Cells(
        found,
        energy_a,
        _sums(power, CELL_PX, CELL_PX, (rows, columns)),
        _sums(power, 3 * CELL_PX, 0, (rows, columns)),
    )


def _sums(power: Reals, side: int, corner: int, shape: tuple[int, int]) -> Reals:
    """(rows, columns, shifts, shifts): sums of `power` over boxes of `side`, the first one's corner at `corner` for the
    shift furthest up and left."""
    out = power.astype(np.float64)
    for axis in (0, 1):
        total = np.cumsum(out, axis=axis)
        total = np.concatenate([np.zeros_like(np.take(total, [0], axis=axis)), total], axis=axis)
        last = total.shape[axis]
        out = np.take(total, np.arange(side, last), axis=axis) - np.take(
            total, np.arange(last - side), axis=axis
        )
    span = 2 * REACH_PX + 1
    view = np.lib.stride_tricks.sliding_window_view(out[corner:, corner:].astype(np.float32), (span, span))
    return view[::CELL_PX, ::CELL_PX][: shape[0], : shape[1]]


def _pooled(values: npt.NDArray[np.floating]) -> Reals:
    """Sums over 3 x 3 cells around each."""
    down = np.array(values, np.float32)
    down[1:] += values[:-1]
    down[:-1] += values[1:]
    out = down.copy()
    out[:, 1:] += down[:, :-1]
    out[:, :-1] += down[:, 1:]
    return out


def _regions_at(
    a: Scan, b: Scan, registration: Registration, of: Fields, factor: int
) -> tuple[list[Region], Mask]:
    cells = _cells(of)
    shape = cells.energy_a.shape
    area = float((3 * CELL_PX) ** 2)
    energy_a = _pooled(cells.energy_a)
    textured = energy_a > 0.02 * area
    surface = _pooled(cells.agreement)
    for row, window_b in enumerate(cells.window_b):
        surface[row] /= np.sqrt(
            np.maximum(energy_a[row], 0.01 * area)[:, None, None] * np.maximum(window_b, 0.01 * area)
        )
    flat = surface[textured]
    del surface
    found = peaks(flat)
    middle = REACH_PX
    still = flat[:, middle - 1 : middle + 2, middle - 1 : middle + 2].max(axis=(1, 2))
    deviation = found.score / np.maximum(found.clear, 1e-6)
    moved, told, shift = np.zeros(shape, np.bool_), np.zeros(shape, np.bool_), np.zeros((*shape, 2))
    told[textured] = found.clear > _CHANCE
    shift[textured] = found.shift_px
    moved[textured] = (
        found.inside
        & (found.clear > _CHANCE)
        & (found.score - still > _BETTER * deviation)
        & (np.linalg.norm(found.shift_px, axis=1) > LEAST_MOVE_PX)
    )
    regions = []
    for members in _together(moved, shift):
        region = _region(a, b, registration, cells, members, factor)
        if region is not None:
            regions.append(region)
    return regions, told


def _together(moved: Mask, shift: Floats) -> list[Mask]:
    """Windows that touch and moved alike, as masks over the cells."""
    rows, columns = moved.shape
    index = np.arange(rows * columns).reshape(rows, columns)
    pairs = []
    for dy, dx in ((0, 1), (1, 0), (1, 1), (1, -1)):
        one = (slice(0, rows - dy), slice(max(0, -dx), columns - max(0, dx)))
        two = (slice(dy, rows), slice(max(0, dx), columns - max(0, -dx)))
        apart = np.linalg.norm(shift[one] - shift[two], axis=-1)
        alike = apart < np.maximum(_AGREE_PX, 0.12 * np.linalg.norm(shift[one], axis=-1))
        joined = moved[one] & moved[two] & alike
        pairs.append(np.stack([index[one][joined], index[two][joined]]))
    edges = np.concatenate(pairs, axis=1)
    graph = sparse.coo_matrix(
        (np.ones(edges.shape[1]), (edges[0], edges[1])), shape=(rows * columns, rows * columns)
    )
    _, label = sparse.csgraph.connected_components(graph, directed=False)
    named = np.asarray(label).reshape(rows, columns)
    names, counts = np.unique(named[moved], return_counts=True)
    order = np.argsort(-counts)
    return [(named == names[k]) & moved for k in order]


def _region(
    a: Scan, b: Scan, registration: Registration, cells: _Cells, members: Mask, factor: int
) -> Region | None:
    """Pool the member cells, keep those that follow the pooled shift, and measure at full resolution."""
    pooled = _pooled_shift(cells, members)
    if pooled is None:
        return None
    shift, clear = pooled
    y, x = (round(float(shift[1])) + REACH_PX, round(float(shift[0])) + REACH_PX)
    near = ndimage.binary_dilation(members, np.ones((3, 3), dtype=np.bool_))
    middle = REACH_PX
    follow = _pooled(cells.agreement[:, :, y, x] * 1.0) - _pooled(cells.agreement[:, :, middle, middle] * 1.0)
    alone = cells.agreement[:, :, y, x] - cells.agreement[:, :, middle, middle]
    belongs = near & (follow > 0) & (alone > 0)
    belongs = ndimage.binary_fill_holes(belongs)
    if belongs.sum() < 4:
        return None
    corners = np.argwhere(belongs)[:, ::-1].astype(np.float64) * CELL_PX
    measured = refine(a, b, registration, corners * factor, CELL_PX * factor, shift * factor, factor)
    if measured is None or not _holds(measured, factor):
        return None
    return _described(measured, registration, corners * factor, CELL_PX * factor, clear)


def _pooled_shift(cells: _Cells, members: Mask) -> tuple[Floats, float] | None:
    agreement = cells.agreement[members].sum(axis=0)
    energy = cells.energy_b[members].sum(axis=0) * float(cells.energy_a[members].sum())
    found = peaks((agreement / np.sqrt(np.maximum(energy, 1e-6)))[None].astype(np.float32))
    if not found.inside[0] or np.linalg.norm(found.shift_px[0]) < LEAST_MOVE_PX:
        return None
    return np.asarray(found.shift_px[0]), float(found.clear[0])


def _holds(measured: Displaced, factor: int) -> bool:
    length, worst = float(np.linalg.norm(measured.by_px)), float(measured.u_px.max())
    far = length > max(LEAST_MOVE_PX * factor, 4 * worst)
    return far and worst < _MOST_U_PX * factor and measured.score > _LEAST_SCORE and measured.gain > 0


def _described(
    measured: Displaced, registration: Registration, corners: Floats, cell_px: float, clear: float
) -> Region:
    low, high = corners.min(axis=0), corners.max(axis=0) + cell_px
    centre = corners.mean(axis=0) + (cell_px - 1) / 2
    u = np.hypot(measured.u_px, registration.trust.u_px(centre))
    return Region(
        centre_px=(float(centre[0]), float(centre[1])),
        box_px=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
        area_px=float(len(corners) * cell_px**2),
        by_px=(float(measured.by_px[0]), float(measured.by_px[1])),
        u_px=(float(u[0]), float(u[1])),
        cells=corners,
        cell_px=cell_px,
        clear=clear,
        score=measured.score,
        confidence=measured.confidence,
    )
