"""A ray tracer that knows no law of refraction or reflection: light takes the path of stationary optical length.

It shares no formula with the planning code. Lengths in millimetres. The plate stands as in the photographer's axes
(x to the right, y towards the scene, z up); faces are planes through given points.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

Point = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Face:
    """A plane: a point on it and two directions in it."""

    origin: Point
    first: Point
    second: Point

    def at(self, u: float, v: float) -> Point:
        found: Point = self.origin + u * self.first + v * self.second
        return found


@dataclass(frozen=True)
class Plates:
    """Both faces of a plate that leans by 45 degrees about the x axis, its upper edge towards the scene."""

    front: Face
    back: Face
    index: float


def leaning_plate(thickness: float, index: float, *, coated: str = "front", wedge: float = 0.0) -> Plates:
    """The coated face runs through the origin; the wedge turns the back face about the x axis."""
    across, slope = np.array([1.0, 0, 0]), np.array([0, 1.0, 1.0]) / np.sqrt(2)
    inward = np.array([0, -1.0, 1.0]) / np.sqrt(2)
    turned = slope * np.cos(wedge) + inward * np.sin(wedge)
    near = -thickness if coated == "back" else 0.0
    front = Face(near * inward, across, slope)
    back = Face((near + thickness) * inward, across, turned)
    return Plates(front, back, index)


def arrival(
    scene: Point, faces: Sequence[Face], indices: Sequence[float], pupil: Point, *, far: bool = False
) -> list[Point]:
    """The points where the light from `scene` meets the faces, one after another, on its way to the pupil.

    indices: of the medium before each face. far: `scene` is the direction to something very far away. The path of
    stationary length is a least one here, as every bend and mirror is a plane.
    """
    count = len(faces)

    def points(where: Point) -> list[Point]:
        return [face.at(*where[2 * k : 2 * k + 2]) for k, face in enumerate(faces)]

    def length(where: Point) -> float:
        met = points(where)
        start = -float(scene @ met[0]) if far else float(np.linalg.norm(scene - met[0]))
        total = indices[0] * start
        for k in range(1, count):
            total += indices[k] * float(np.linalg.norm(met[k] - met[k - 1]))
        return total + float(np.linalg.norm(pupil - met[-1]))

    def slope_of(where: Point) -> Point:
        # The length's derivative, worked out by differences of both sides.
        step, found = 1e-4, np.zeros_like(where)
        for k in range(where.size):
            ahead, behind = where.copy(), where.copy()
            ahead[k] += step
            behind[k] -= step
            found[k] = (length(ahead) - length(behind)) / (2 * step)
        return found

    result = minimize(
        length, np.zeros(2 * count), jac=slope_of, method="BFGS", options={"gtol": 3e-10, "maxiter": 400}
    )
    return points(result.x)


def heading(pupil: Point, met: Point) -> Point:
    """The direction a pupil sees that light in, before any mirror is undone."""
    found: Point = (met - pupil) / np.linalg.norm(met - pupil)
    return found


def seen_through(
    plates: Plates, scene: Point, pupil: Point, *, far: bool = False, bounces: bool = False
) -> Point:
    """Where the body behind the glass sees a point: (x, z) as tangents. bounces: by two reflections inside."""
    n = plates.index
    faces = [plates.front, plates.back]
    indices = [1.0, n]
    if bounces:
        faces, indices = [plates.front, plates.back, plates.front, plates.back], [1.0, n, n, n]
    ray = heading(pupil, arrival(scene, faces, indices, pupil, far=far)[-1])
    return np.array([ray[0] / ray[1], ray[2] / ray[1]])


def seen_reflected(plates: Plates, scene: Point, pupil: Point, *, behind: bool, far: bool = False) -> Point:
    """Where the body under the glass, looking up, sees a point; its picture's up is the scene's up.

    behind: off the back face.
    """
    if behind:
        met = arrival(
            scene,
            [plates.front, plates.back, plates.front],
            [1.0, plates.index, plates.index],
            pupil,
            far=far,
        )
    else:
        met = arrival(scene, [plates.front], [1.0], pupil, far=far)
    ray = heading(pupil, met[-1])
    # It looks up; what is ahead of it is above in the scene's picture: y stands where z was.
    return np.array([ray[0] / ray[2], ray[1] / ray[2]])
