"""Why two scans fit only with a bent map: a turned body, unlike lenses, or depth.

Each leaves a field of its own beside plain shift, turn and scale. A turned body slants the picture (keystone: first
order in the turn, quadratic in the place). Unlike lenses move places along the radius, more with its cube. Depth, seen
from two pupils apart, moves all places along one line, each by its nearness (epipolar geometry; Hartley and Zisserman
2004, from memory). Which of them explains the map is told where one of them explains most of it and the others do not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from coincide.scans.register.alignment import Alignment, Floats, bend_terms

Cause = Literal["none", "turned", "lenses", "turned and lenses", "depth", "open"]

_MOST = 0.9  # of the squared field: a cause that explains so much is the one
_CLEAR = 0.1  # by so much more than any other
_WAYS = 36


@dataclass(frozen=True, slots=True)
class Bend:
    """px: the most by which the map departs, anywhere in the frame, from the similarity nearest to it, pixels of A.

    cause: what explains it; 'open' where that cannot be told. turned, lenses, both, depth: the part of the squared
    departures, over what was recognised, that each explains.
    """

    px: float
    cause: Cause
    turned: float = 0.0
    lenses: float = 0.0
    both: float = 0.0
    depth: float = 0.0


def bend_of(alignment: Alignment, still_px: Floats, frame_px: tuple[int, int], u_px: float) -> Bend:
    """From the map and the places (n, 2) it rests on. `u_px`: standard uncertainty of the map there; a bend within
    twice of it is not explained."""
    width, height = frame_px
    if alignment.kind == "similarity":
        return Bend(0.0, "none")
    steps = (np.linspace(0, side - 1, 15) for side in (width, height))
    frame: Floats = np.stack(np.meshgrid(*steps), axis=-1).reshape(-1, 2)
    most = float(np.linalg.norm(_departure(alignment, frame), axis=1).max())
    field = _departure(alignment, still_px)
    size = float(np.sqrt((field**2).sum(axis=1).mean()))
    if size < 2 * u_px or len(field) < 12:
        return Bend(most, "open")
    x, y = _normal(still_px, frame_px)
    zero, one, square = np.zeros_like(x), np.ones_like(x), x * x + y * y
    plain = [(one, zero), (zero, one), (x, y), (-y, x)]
    slant = [(x * x, x * y), (x * y, y * y)]
    radial = [(square * x, square * y)]
    turned = _explained(field, plain + slant)
    lenses = _explained(field, plain + radial)
    both = _explained(field, plain + slant + radial)
    depth = _along_one_line(field, still_px, frame_px, plain)
    return Bend(most, _cause(turned, lenses, both, depth), turned, lenses, both, depth)


def _cause(turned: float, lenses: float, both: float, depth: float) -> Cause:
    if depth > _MOST and depth > both + _CLEAR:
        return "depth"
    if both < _MOST or depth > both - _CLEAR:
        return "open"
    if turned > _MOST and turned > lenses + _CLEAR:
        return "turned"
    if lenses > _MOST and lenses > turned + _CLEAR:
        return "lenses"
    return "turned and lenses"


def _normal(points: Floats, frame_px: tuple[int, int]) -> tuple[Floats, Floats]:
    reach = max(frame_px) / 2
    return (points[:, 0] - (frame_px[0] - 1) / 2) / reach, (points[:, 1] - (frame_px[1] - 1) / 2) / reach


def _departure(alignment: Alignment, points: Floats) -> Floats:
    """Of the map at `points` (n, 2) from the similarity that fits it best there (Umeyama 1991, without weights), pixels
    of A and in A's directions."""
    mirror = -1 if alignment.mirrored else 1
    middle = points.mean(axis=0)

    def as_complex(places: Floats) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
        return np.asarray((places[:, 0] - middle[0]) * mirror + 1j * (places[:, 1] - middle[1]))

    def there(places: Floats) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
        seen = alignment.to_b(places)
        return np.asarray(seen[:, 0] + 1j * seen[:, 1])

    za, zb = as_complex(points), there(points)
    da, db = za - za.mean(), zb - zb.mean()
    gain = (db * da.conj()).sum() / (np.abs(da) ** 2).sum()
    shift = zb.mean() - gain * za.mean()
    off = (there(points) - gain * as_complex(points) - shift) / gain
    return np.stack([off.real * mirror, off.imag], axis=1)


def _explained(field: Floats, shapes: list[tuple[Floats, Floats]]) -> float:
    """Part of the squared field that a sum of the shapes, each (x, y), takes away."""
    rows = np.stack([np.concatenate(shape) for shape in shapes], axis=1)
    goal = np.concatenate([field[:, 0], field[:, 1]])
    left = goal - rows @ np.linalg.lstsq(rows, goal, rcond=None)[0]
    return float(1 - (left @ left) / (goal @ goal))


def _along_one_line(
    field: Floats, points: Floats, frame_px: tuple[int, int], plain: list[tuple[Floats, Floats]]
) -> float:
    """What a field along one line explains, smooth in the place; the best of `_WAYS` lines. Which one it is stays open
    where nearness grows evenly: with a turn and a scale any line would do."""
    x, y = _normal(points, frame_px)
    amounts = np.concatenate(
        [np.stack([x, y], axis=1), bend_terms(np.stack([x, y], axis=1), (0.0, 0.0), 1.0)], axis=1
    )
    told = 0.0
    for turn in np.arange(_WAYS) * math.pi / _WAYS:
        shapes = [(math.cos(turn) * amount, math.sin(turn) * amount) for amount in amounts.T]
        told = max(told, _explained(field, plain + shapes))
    return told
