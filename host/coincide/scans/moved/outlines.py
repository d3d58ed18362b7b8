"""Plain things with a sharp outline before plain ground: a bird, a boat, a post. Found contour by contour.

Edges of A that B does not show where they were are looked for elsewhere, each contour as a whole. A straight edge tells
how far it moved across itself, never along (the aperture problem); the finding then says which way that is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from skimage.feature import canny
from skimage.measure import label

from coincide.scans.moved.fields import Fields, Mask
from coincide.scans.moved.region import Region
from coincide.scans.register.alignment import Floats
from coincide.scans.register.orientation import Field, Reals, gradient_floor, peaks
from coincide.scans.register.trust import Trust

REACH_PX = 24
LEAST_OUTLINE_PX = 24  # length of edge
LEAST_MOVE_PX = 1.5
WORKING_PIXELS = 3_000_000
CELL_PX = 16

_EDGE_SIGMA_PX = 1.5
_SOBEL = 8.0  # what canny's derivative makes of a slope of one grey level a pixel
_STRONG, _WEAK = (
    4.0,
    2.0,
)  # gradients over that of grain: an edge begins above the first, goes on above the second
_SEGMENT_PX = 10
_IN_PLACE = 0.4  # agreement in place, over what is there to agree: the edge stood still
_EXTENT_PX = 12
_AROUND_PX = 8
_MOST_AROUND = 0.6  # other edges near by, over the contour's own length: beyond it the ground is not plain
_MOST_OUTLINES = 120
_MOST_POINTS = 480
_BAND_PX = 4  # to each side of an edge; the derivative sees it so wide
_PARTS = 8
_STRAIGHT = 0.92  # length of the mean orientation over the mean length: one straight edge
_LEAST_SCORE = 0.5
_LEAST_GAIN = 0.25
_MOST_RIVAL = 0.85
_MOST_U_PX = 1.0
_ITSELF = 0.8
_TOGETHER = 1.6  # neighbouring parts err together, as in `refine`
_LEAST_U_PX = 0.08


@dataclass(frozen=True, slots=True)
class Outlines:
    """Moved things, and how many contours of `least_px` (pixels of A) and more there are, moved or not."""

    regions: tuple[Region, ...]
    followed: int
    least_px: float


def outlines(of: Fields, trust: Trust) -> Outlines:
    """Contours of A before plain ground that B shows elsewhere."""
    edges = _edges(of.grey) & of.seen
    moved = _not_in_place(edges, of.a, of.b)
    named = label(ndimage.binary_dilation(moved, iterations=2), connectivity=2)
    named = np.where(moved, named, 0)
    regions = []
    boxes = ndimage.find_objects(named)
    lengths = np.bincount(named.ravel(), minlength=len(boxes) + 1)[1:]
    for index in np.argsort(-lengths)[:_MOST_OUTLINES]:
        box = boxes[index]
        if lengths[index] < LEAST_OUTLINE_PX or max(side.stop - side.start for side in box) < _EXTENT_PX:
            continue
        wide = tuple(slice(max(side.start - _AROUND_PX, 0), side.stop + _AROUND_PX) for side in box)
        own = named[wide] == index + 1
        if not _before_plain(own, edges[wide]):
            continue
        region = _followed(own, (wide[1].start, wide[0].start), of, trust)
        if region is not None:
            regions.append(region)
    return Outlines(tuple(regions), _contours(edges), float(LEAST_OUTLINE_PX * of.factor))


def _edges(grey: Reals) -> Mask:
    floor = gradient_floor(grey) * _SOBEL
    return np.asarray(canny(grey, _EDGE_SIGMA_PX, _WEAK * floor, _STRONG * floor), np.bool_)


def _contours(edges: Mask) -> int:
    """How many contours are long enough to be followed."""
    named = label(edges, connectivity=2)
    return int((np.bincount(named.ravel())[1:] >= LEAST_OUTLINE_PX).sum())


def _not_in_place(edges: Mask, a: Field, b: Field) -> Mask:
    """Edges of A, segment by segment, that B does not show there or a pixel beside."""
    rows, columns = np.nonzero(edges)
    if not len(rows):
        return edges
    blocks = (rows // _SEGMENT_PX) * (edges.shape[1] // _SEGMENT_PX + 1) + columns // _SEGMENT_PX
    _, segment = np.unique(blocks, return_inverse=True)
    of_a = a[rows, columns]
    worth = np.bincount(segment, np.abs(of_a)) + 1e-6
    best = np.zeros_like(worth)
    for dy in (-1, 0, 1):
        for dx in (-1, 0, 1):
            there = b[np.clip(rows + dy, 0, a.shape[0] - 1), np.clip(columns + dx, 0, a.shape[1] - 1)]
            best = np.maximum(best, np.bincount(segment, (of_a.conj() * there).real) / worth)
    out = np.zeros_like(edges)
    gone = (best < _IN_PLACE)[segment]
    out[rows[gone], columns[gone]] = True
    return out


def _before_plain(own: Mask, edges: Mask) -> bool:
    """Whether few other edges lie about this contour."""
    near = ndimage.distance_transform_edt(~own) <= _AROUND_PX
    rim = ndimage.binary_dilation(own, iterations=2)
    return float((edges & near & ~rim).sum()) < _MOST_AROUND * float(own.sum())


@dataclass(frozen=True, slots=True)
class _Contour:
    """Points (n, 2) on a contour, A's orientation there (n,), and which of the parts along it each belongs to (n,)."""

    points: npt.NDArray[np.intp]
    of_a: Field
    part: npt.NDArray[np.intp]


def _followed(own: Mask, corner: tuple[int, int], of: Fields, trust: Trust) -> Region | None:
    contour = _contour(own, corner, of.a)
    mean = np.abs(contour.of_a.mean())
    straight = float(mean / (np.abs(contour.of_a).mean() + 1e-9))
    parts, energy = _surfaces(contour, of.b)
    own_energy = float((np.abs(contour.of_a) ** 2).sum())
    # The place is told by the agreement alone: over B's own energy it would be as good wherever both only fade.
    score = parts.sum(axis=0) / np.sqrt(np.maximum(energy, 0.25 * own_energy) * own_energy).astype(np.float32)
    found = _across(contour, parts, score) if straight > _STRAIGHT else _whole(parts, score)
    if found is None:
        return None
    itself = _surfaces(contour, of.a)[0].sum(axis=0)
    own_energy = float((np.abs(contour.of_a) ** 2).sum())
    at = np.round(found.by).astype(int) + REACH_PX
    if float(itself[at[1], at[0]]) / own_energy > found.score:
        return None  # A has such an edge there as well: what B shows there is that one, standing still
    cells = np.unique(contour.points // CELL_PX, axis=0) * CELL_PX
    centre = (contour.points.min(axis=0) + contour.points.max(axis=0)) / 2
    by, u = found.by * of.factor, found.u * of.factor
    place = (centre + 0.5) * of.factor - 0.5
    mapped = float(trust.u_px(place))
    low = (contour.points.min(axis=0) * of.factor).astype(float)
    high = ((contour.points.max(axis=0) + 1) * of.factor).astype(float)
    return Region(
        centre_px=(float(place[0]), float(place[1])),
        box_px=(float(low[0]), float(low[1]), float(high[0]), float(high[1])),
        area_px=float(len(cells) * (CELL_PX * of.factor) ** 2),
        by_px=(float(by[0]), float(by[1])),
        u_px=(math.hypot(float(u[0]), mapped), math.hypot(float(u[1]), mapped)),
        cells=cells.astype(np.float64) * of.factor,
        cell_px=float(CELL_PX * of.factor),
        clear=found.clear,
        score=found.score,
        confidence=found.confidence,
        across=found.across,
    )


def _contour(own: Mask, corner: tuple[int, int], a: Field) -> _Contour:
    """Points about the contour, in parts of equal length along its longer way.

    As wide as an edge is seen as one: of a narrower band any place within B's would be as good.
    """
    rows, columns = np.nonzero(ndimage.binary_dilation(own, iterations=_BAND_PX))
    points = np.stack([columns + corner[0], rows + corner[1]], axis=1)
    inside = (points < [a.shape[1], a.shape[0]]).all(axis=1)
    points = points[inside]
    points = points[:: max(1, math.ceil(len(points) / _MOST_POINTS))]
    away = points - points.mean(axis=0)
    along = away @ np.linalg.eigh(np.cov(away.T))[1][:, 1]
    part = np.empty(len(points), np.intp)
    part[np.argsort(along)] = np.arange(len(points)) * _PARTS // len(points)
    return _Contour(points, a[points[:, 1], points[:, 0]], part)


def _surfaces(contour: _Contour, b: Field) -> tuple[Reals, Reals]:
    """Agreement (parts, span, span) of each part with `b` at every shift, and what B has there (span, span)."""
    steps = np.arange(-REACH_PX, REACH_PX + 1)
    wide = np.pad(b, REACH_PX) if min(b.shape) < 4 * REACH_PX else None
    parts = np.empty((_PARTS, len(steps), len(steps)), np.float32)
    energy = np.zeros((len(steps), len(steps)), np.float32)
    for k in range(_PARTS):
        points = contour.points[contour.part == k]
        y = points[:, 1][:, None, None] + steps[None, :, None]
        x = points[:, 0][:, None, None] + steps[None, None, :]
        if wide is not None:
            there = wide[y + REACH_PX, x + REACH_PX]
        else:
            inside = (y >= 0) & (y < b.shape[0]) & (x >= 0) & (x < b.shape[1])
            there = np.where(inside, b[np.clip(y, 0, b.shape[0] - 1), np.clip(x, 0, b.shape[1] - 1)], 0)
        of_a = contour.of_a[contour.part == k].conj()
        parts[k] = np.tensordot(of_a, there, axes=(0, 0)).real
        energy += (there.real**2 + there.imag**2).sum(axis=0)
    return parts, energy


@dataclass(frozen=True, slots=True)
class _Found:
    by: Floats
    u: Floats
    score: float
    clear: float
    confidence: float
    across: tuple[float, float] | None


def _whole(parts: Reals, scores: Reals) -> _Found | None:
    """Both ways: one peak clear of the rest, and the parts left out one by one agree on it."""
    total = parts.sum(axis=0)
    leave = np.stack([total, *(total - part for part in parts)])
    found = peaks(leave.astype(np.float32))
    middle = REACH_PX
    still = float(scores[middle - 1 : middle + 2, middle - 1 : middle + 2].max())
    score, by = float(scores.ravel()[total.argmax()]), found.shift_px[0]
    if not found.inside.all() or score < _LEAST_SCORE or score - still < _LEAST_GAIN:
        return None
    if found.rival[0] > _MOST_RIVAL or np.linalg.norm(by) < LEAST_MOVE_PX:
        return None
    u = _jackknife(found.shift_px[1:])
    if u.max() > _MOST_U_PX:
        return None
    return _Found(by, u, score, float(found.clear[0]), _confidence(parts, by), None)


def _across(contour: _Contour, parts: Reals, scores: Reals) -> _Found | None:
    """Across a straight edge only."""
    double = np.angle(contour.of_a.mean())
    normal = np.array([math.cos(double / 2), math.sin(double / 2)])
    far = np.arange(-REACH_PX + 1, REACH_PX)
    where = REACH_PX + far[None] * normal[::-1, None]
    profiles = np.stack([ndimage.map_coordinates(part, where, order=1) for part in parts])
    total = profiles.sum(axis=0)
    tops = np.array([_top(one) for one in (total, *(total - part for part in profiles))])
    middle = len(far) // 2
    along = ndimage.map_coordinates(scores, where, order=1)
    still, score = float(along[middle - 1 : middle + 2].max()), float(along[total.argmax()])
    away = np.abs(far - far[total.argmax()]) > 3
    rival = float(total[away].max()) / max(float(total.max()), 1e-6)
    if not np.isfinite(tops).all() or score < _LEAST_SCORE or score - still < _LEAST_GAIN:
        return None
    if rival > _MOST_RIVAL or abs(tops[0] + far[0]) < LEAST_MOVE_PX:
        return None
    u = float(_jackknife(tops[1:, None])[0])
    if u > _MOST_U_PX:
        return None
    by = (tops[0] + far[0]) * normal
    deviation = 1.4826 * float(np.median(np.abs(total - np.median(total)))) + 1e-6
    clear = (float(total.max()) - float(np.median(total))) / deviation
    return _Found(
        by, np.array([u, u]), score, clear, _confidence(parts, by), (float(normal[0]), float(normal[1]))
    )


def _top(profile: Reals) -> float:
    """Place of the peak to a fraction, by a parabola; NaN on the rim."""
    k = int(profile.argmax())
    if k in (0, len(profile) - 1):
        return math.nan
    before, here, after = (float(profile[k + step]) for step in (-1, 0, 1))
    bend = before - 2 * here + after
    return k + (0.5 * (before - after) / bend if bend < 0 else 0.0)


def _jackknife(told: Floats) -> Floats:
    n = len(told)
    u = _TOGETHER * np.sqrt((n - 1) / n * ((told - told.mean(axis=0)) ** 2).sum(axis=0))
    return np.asarray(np.maximum(u, _LEAST_U_PX))


def _confidence(parts: Reals, by: Floats) -> float:
    x, y = (round(float(one)) + REACH_PX for one in by)
    gains = parts[:, y, x] - parts[:, REACH_PX, REACH_PX]
    worth = float(gains.sum() / (math.sqrt(len(gains)) * gains.std() + 1e-9))
    return 1 - math.exp(-(max(worth, 0.0) ** 2) / 6)
