"""Rays through and off a plane plate, in the scene as it looks to the body behind the glass.

Axes as in `rig.geometry`: x to the right, y towards the scene, z up; the origin is where the axis of the reflected
view meets the face that reflects. A plate moves every ray parallel to itself; seen from the scene, that is as if the
entrance pupil stood elsewhere. Sources: Smith, *Modern Optical Engineering*, ch. 4 (the plane parallel plate); memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.rig.optics.geometry import AXES, SCENE, Vector
from coincide.rig.parts import Looks
from coincide.rig.plate import Plate


@dataclass(frozen=True, slots=True)
class Glass:
    """A plate in its place.

    normal: unit vector from front to back; slope: in the plate, towards its end next to the scene; across: in the
    plate, along the axis that it is tilted about. front_m, back_m: where the faces lie along the normal.
    """

    normal: Vector
    slope: Vector
    across: Vector
    thickness_m: float
    index: float
    front_m: float
    back_m: float

    @property
    def reflects_in_front(self) -> bool:
        return self.front_m == 0.0

    @property
    def incidence_rad(self) -> float:
        """Of the axis."""
        return float(np.arccos(abs(self.normal @ SCENE)))


def glass_of(plate: Plate, looks: Looks) -> Glass:
    """The plate that turns the axis of a body that looks this way into the scene."""
    axis = AXES[looks]
    normal = (axis - SCENE) / np.linalg.norm(axis - SCENE)
    slope = (axis + SCENE) / np.linalg.norm(axis + SCENE)
    across = np.abs(np.cross(axis, SCENE))
    t = plate.thickness_m
    front_m, back_m = (0.0, t) if plate.coated == "front" else (-t, 0.0)
    return Glass(normal, slope, across, t, plate.index, front_m, back_m)


def normal_shift_m(glass: Glass, rays: Vector) -> Vector:
    """By how much one passage moves rays along the normal, t (1 - cos a / sqrt(n^2 - sin^2 a)); rays (..., 3)."""
    cos_in = np.abs(rays @ glass.normal) / np.linalg.norm(rays, axis=-1)
    shift: Vector = glass.thickness_m * (1.0 - cos_in / np.sqrt(glass.index**2 - 1.0 + cos_in**2))
    return shift


def sideways_m(glass: Glass) -> float:
    """By how much one passage moves the axis sideways: t sin a (1 - cos a / sqrt(n^2 - sin^2 a))."""
    return float(normal_shift_m(glass, SCENE) * np.sin(glass.incidence_rad))


def ghost_shift_m(glass: Glass, rays: Vector) -> Vector:
    """How far along the normal the pupil of the other face's picture seems to be from that of the main one."""
    return 2.0 * (glass.thickness_m - normal_shift_m(glass, rays))


def through_shift_m(glass: Glass, rays: Vector) -> Vector:
    """Where the pupil of the body that looks through seems to be, against where it is: vectors (..., 3)."""
    return -normal_shift_m(glass, rays)[..., np.newaxis] * glass.normal


def reflected_shift_m(glass: Glass, rays: Vector) -> Vector:
    """The same for the body that sees the reflection, against the mirror picture of its pupil in the coated face.

    None at all off the front; off the back its light passes the plate twice.
    """
    passages = 0.0 if glass.reflects_in_front else 2.0
    return -passages * normal_shift_m(glass, rays)[..., np.newaxis] * glass.normal


def mirrored(glass: Glass, vector: Vector) -> Vector:
    """A point or direction as the coated face shows it; (..., 3)."""
    return vector - 2.0 * (vector @ glass.normal)[..., np.newaxis] * glass.normal


def met_at(glass: Glass, points: Vector, rays: Vector, face_m: float) -> Vector:
    """Where rays from points meet a face, as (..., 2): along the slope and across, from the origin's foot."""
    along = (face_m - points @ glass.normal) / (rays @ glass.normal)
    met = points + along[..., np.newaxis] * rays
    return np.stack([met @ glass.slope, met @ glass.across], axis=-1)


@dataclass(frozen=True, slots=True)
class WedgeTurns:
    """What a wedge does, its edge along the tilt axis, where it does most; radians.

    through_rad: by how much it turns the view through it, (n cos b / cos a - 1) w; ghost_rad: how far it parts the
    picture of the other face from the main one at every distance, 2 w sqrt(n^2 - sin^2 a) / cos a.
    """

    wedge_rad: float
    through_rad: float
    ghost_rad: float


def wedge_turns(glass: Glass, wedge_rad: float) -> WedgeTurns:
    """Small wedges: first order in the angle (Snell, differentiated)."""
    cos_in = float(np.cos(glass.incidence_rad))
    root = float(np.sqrt(glass.index**2 - 1.0 + cos_in**2))  # index times the cosine inside
    return WedgeTurns(wedge_rad, wedge_rad * (root / cos_in - 1.0), 2.0 * wedge_rad * root / cos_in)
