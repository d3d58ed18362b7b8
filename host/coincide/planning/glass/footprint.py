"""How much glass a view needs: every ray from every point of the entrance pupil to every corner of the frame."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from coincide.planning.glass.plate import (
    Glass,
    met_at,
    mirrored,
    normal_shift_m,
    reflected_shift_m,
    through_shift_m,
)
from coincide.planning.glass.pupils import Field
from coincide.rig.optics.geometry import Vector

RIM = 72  # points of the pupil's rim: the polygon is 0.1 % smaller than the circle
Edge = Literal["far", "near", "left", "right"]
EDGES: tuple[Edge, ...] = ("far", "near", "left", "right")


@dataclass(frozen=True, slots=True)
class Sight:
    """One body's view. pupil: as the glass shows it, without the plate's shift; radius_m: of the entrance pupil."""

    through: bool
    pupil: Vector
    radius_m: float
    field: Field
    focal_length_m: float


@dataclass(frozen=True, slots=True)
class Need:
    """The rectangle of glass, in metres from where the reflected axis meets it.

    near_m, far_m: along the slope, negative towards the photographer. left_m, right_m: across.
    """

    near_m: float
    far_m: float
    left_m: float
    right_m: float

    @property
    def length_m(self) -> float:
        return self.far_m - self.near_m

    @property
    def width_m(self) -> float:
        """Of a glass whose middle lies on the axis: the wider side decides."""
        return 2.0 * max(-self.left_m, self.right_m)

    def at(self, edge: Edge) -> float:
        """How far out it reaches at an edge."""
        return {"far": self.far_m, "near": -self.near_m, "left": -self.left_m, "right": self.right_m}[edge]

    def joined(self, other: Need) -> Need:
        return Need(
            min(self.near_m, other.near_m),
            max(self.far_m, other.far_m),
            min(self.left_m, other.left_m),
            max(self.right_m, other.right_m),
        )


def covers(glass: Glass, view: Field) -> bool:
    """Whether any glass is long enough: the field must end short of a ray that runs along the slope."""
    rays = view.rays(3)
    return bool(np.all(rays @ glass.normal < -0.02 * np.linalg.norm(rays, axis=-1)))


def need(glass: Glass, sight: Sight) -> Need:
    """What one view needs on both faces; the frame's edge is enough, as no ray inside it lands farther out."""
    edge = sight.field.rays(5)
    outermost = np.isclose(np.abs(edge[:, 0]), sight.field.half_x) | np.isclose(
        np.abs(edge[:, 2]), sight.field.half_z
    )
    met = np.concatenate([one.reshape(-1, 2) for one in _met(glass, sight, edge[outermost], _rim(sight))])
    return _around(met)


def middle_need(glass: Glass, sight: Sight, rays: Vector, *, whole_pupil: bool) -> Vector:
    """Along the slope and across, (n, 2, 2) as least and most: where rays through the pupil meet the faces."""
    rim = _rim(sight) if whole_pupil else sight.pupil[np.newaxis]
    met = np.concatenate(list(_met(glass, sight, rays, rim)), axis=1)
    return np.stack([met.min(axis=1), met.max(axis=1)], axis=-1)


def _met(glass: Glass, sight: Sight, rays: Vector, points: Vector) -> Iterator[Vector]:
    """For each face that the light passes or meets: (rays, points, 2)."""
    count = (rays.shape[0], points.shape[0], 3)
    each_ray = np.broadcast_to(rays[:, np.newaxis], count)
    if sight.through:
        yield met_at(glass, np.broadcast_to(points, count), each_ray, glass.back_m)
        moved = through_shift_m(glass, rays)
        yield met_at(glass, points + moved[:, np.newaxis], each_ray, glass.front_m)
        return
    moved = reflected_shift_m(glass, rays)
    yield met_at(glass, points + moved[:, np.newaxis], each_ray, glass.front_m)
    if not glass.reflects_in_front:
        # On its way in the light passes the front, and the coated back one passage later.
        before, heading = mirrored(glass, points), mirrored(glass, rays)
        heading_each = np.broadcast_to(heading[:, np.newaxis], count)
        yield met_at(glass, np.broadcast_to(before, count), heading_each, glass.front_m)
        inside = normal_shift_m(glass, heading)[:, np.newaxis, np.newaxis] * glass.normal
        yield met_at(glass, before + inside, heading_each, glass.back_m)


def _rim(sight: Sight) -> Vector:
    turn = np.linspace(0.0, 2.0 * np.pi, RIM, endpoint=False)
    ring = np.stack([np.cos(turn), np.zeros(RIM), np.sin(turn)], axis=-1)
    return sight.pupil + sight.radius_m * ring


def _around(met: Vector) -> Need:
    (near, left), (far, right) = met.min(axis=0), met.max(axis=0)
    return Need(float(near), float(far), float(left), float(right))


@dataclass(frozen=True, slots=True)
class Past:
    """Where a view runs past an edge of the glass.

    over_m: by how much glass is missing there; dim_m: the strip of the picture, on film, that loses some of its light,
    and lost_m: the strip of which more than half is past the edge (the middle of the pupil looks past it).
    side: of the scene, in words.
    """

    edge: Edge
    side: str
    over_m: float
    dim_m: float
    lost_m: float


def past_edges(glass: Glass, sight: Sight, plate: Need) -> tuple[Past, ...]:
    """Each edge of the plate that a view runs past. `plate`: the rectangle there is."""
    wanted = need(glass, sight)
    found = []
    for edge in EDGES:
        over_m = wanted.at(edge) - plate.at(edge)
        if over_m > 1e-6:
            dim_m, lost_m = (
                _strip_m(glass, sight, edge, plate.at(edge), whole_pupil=whole) for whole in (True, False)
            )
            found.append(Past(edge, scene_side(glass, edge), over_m, dim_m, lost_m))
    return tuple(found)


def scene_side(glass: Glass, edge: Edge) -> str:
    """Which side of the scene is seen by that edge of the glass."""
    outward = {"far": glass.slope, "near": -glass.slope, "left": -glass.across, "right": glass.across}[edge]
    x, z = float(outward[0]), float(outward[2])
    if abs(z) > abs(x):
        return "top" if z > 0 else "bottom"
    return "right" if x > 0 else "left"


def _strip_m(glass: Glass, sight: Sight, edge: Edge, end_m: float, *, whole_pupil: bool) -> float:
    """How wide a strip of the picture, on film, has a ray past the edge at its worst place."""
    side = scene_side(glass, edge)
    upright = side in ("top", "bottom")
    half = sight.field.half_z if upright else sight.field.half_x
    sign = 1.0 if side in ("top", "right") else -1.0
    along = np.linspace(-half, half, 801)
    worst = np.full(along.size, -np.inf)
    other_half = sight.field.half_x if upright else sight.field.half_z
    for other in np.linspace(-other_half, other_half, 5):
        sideways = np.full(along.size, other)
        x, z = (sideways, sign * along) if upright else (sign * along, sideways)
        spans = middle_need(glass, sight, np.stack([x, np.ones(x.size), z], axis=-1), whole_pupil=whole_pupil)
        axis = 0 if edge in ("far", "near") else 1
        reach = spans[:, axis, 1] if edge in ("far", "right") else -spans[:, axis, 0]
        worst = np.maximum(worst, reach)
    beyond = along[worst > end_m]
    return float((half - beyond.min()) * sight.focal_length_m) if beyond.size else 0.0
