"""Where the entrance pupils belong, and what a displaced one costs on film.

Two pictures can be laid over each other at every distance only when they are taken from one point: the pupil of the
body behind the glass, as the plate shows it, must lie where the coated face shows the other one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.planning.glass.plate import Glass, mirrored, reflected_shift_m, through_shift_m
from coincide.rig.optics.geometry import AXES, SCENE, Vector
from coincide.rig.parts import Looks

GRID = 15  # rays along each side of the frame


@dataclass(frozen=True, slots=True)
class Field:
    """Half of what a body sees, as tangents: to the side and up, in the scene."""

    half_x: float
    half_z: float

    def common(self, other: Field) -> Field:
        return Field(min(self.half_x, other.half_x), min(self.half_z, other.half_z))

    def rays(self, count: int = GRID) -> Vector:
        """A grid of rays over the frame, (count * count, 3), y = 1."""
        x, z = np.meshgrid(
            np.linspace(-self.half_x, self.half_x, count), np.linspace(-self.half_z, self.half_z, count)
        )
        return np.stack([x.ravel(), np.ones(x.size), z.ravel()], axis=-1)


@dataclass(frozen=True, slots=True)
class Place:
    """Where the pupil of the body behind the glass belongs, when the other's stays where it is.

    pupil: it, and reflected: the other one's mirror picture, in the glass's axes, metres. to_glass_m: along its axis to
    the glass. side_m: to the right of the other's axis as the glass turns it; up_m: above it. forward_m: nearer to the
    scene than the mirror picture (negative: farther). left: what is left over the frame of displacement between both
    views, metres per metre of distance and of image distance: at most, and at the centre.
    """

    pupil: Vector
    reflected: Vector
    to_glass_m: float
    side_m: float
    up_m: float
    forward_m: float
    left_m: float
    left_centre_m: float


def reflected_pupil(glass: Glass, looks: Looks, to_glass_m: float) -> Vector:
    """The mirror picture, in the coated face, of a pupil on the axis so far before the face it looks at."""
    axis = AXES[looks]
    at = -axis * to_glass_m
    # The axis meets the front face; where the back reflects, that lies in front of the origin.
    at = at + axis * (glass.front_m / (axis @ glass.normal))
    return mirrored(glass, at)


def place(glass: Glass, looks: Looks, to_glass_m: float, common: Field) -> Place:
    """The best place for the pupil behind the glass, by least squares over the frame that both see.

    The plate does not show a pupil at one point: rays that meet it at other angles are moved by other amounts, and the
    rest is stated.
    """
    reflected = reflected_pupil(glass, looks, to_glass_m)
    rays = common.rays()
    apart = through_shift_m(glass, rays) - reflected_shift_m(glass, rays)
    matrix = _seen(rays)
    wanted = -np.einsum("kij,kj->ki", matrix, apart)
    moved, *_ = np.linalg.lstsq(matrix.reshape(-1, 3), wanted.ravel(), rcond=None)
    rest = np.linalg.norm(np.einsum("kij,kj->ki", matrix, moved + apart), axis=-1)
    pupil = reflected + moved
    centre = rays.shape[0] // 2
    return Place(
        pupil=pupil,
        reflected=reflected,
        to_glass_m=behind_glass_m(glass, pupil),
        side_m=float(moved[0]),
        up_m=float(moved[2]),
        forward_m=float(moved[1]),
        left_m=float(rest.max()),
        left_centre_m=float(rest[centre]),
    )


def behind_glass_m(glass: Glass, pupil: Vector) -> float:
    """Along its axis from the pupil behind the glass to the back face."""
    return float((glass.back_m - pupil @ glass.normal) / (SCENE @ glass.normal))


def on_film_m(displaced: Vector, ray: Vector, image_m: float, distance_m: float) -> float:
    """How far something at a distance (along y) moves on film when the pupil is displaced, (3,); first order."""
    return float(np.linalg.norm(_seen(ray[np.newaxis])[0] @ displaced) * image_m / distance_m)


@dataclass(frozen=True, slots=True)
class Millimetre:
    """What a pupil one millimetre out of place costs on film, at one distance, with the far background registered.

    sideways_m: to a side or up, the same all over the frame; forward_m: along the axis, in the corner of the frame.
    """

    distance_m: float
    sideways_m: float
    forward_m: float


def millimetre(view: Field, image_m: float, distance_m: float) -> Millimetre:
    """Parallax: e b / D to the side, e r / D along the axis at image height r (similar triangles)."""
    corner = np.array([view.half_x, 1.0, view.half_z])
    mm = 1e-3
    return Millimetre(
        distance_m,
        on_film_m(np.array([mm, 0.0, 0.0]), SCENE, image_m, distance_m),
        on_film_m(np.array([0.0, mm, 0.0]), corner, image_m, distance_m),
    )


def _seen(rays: Vector) -> Vector:
    """The part of a displacement that shows along a ray: a matrix a ray, (n, 2, 3)."""
    matrix = np.zeros((rays.shape[0], 2, 3))
    matrix[:, 0, 0] = matrix[:, 1, 2] = 1.0
    matrix[:, 0, 1] = -rays[:, 0] / rays[:, 1]
    matrix[:, 1, 1] = -rays[:, 2] / rays[:, 1]
    return matrix
