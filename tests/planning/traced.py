"""Judges of the planning figures: points moved in steps, shutters run as slits over a film, and nothing of the host.

Only the rig's own keys are read. A film point's exposure is found by stepping the slit, a moving picture by solving
for the time at which the slit meets it; the rig turns as a matrix. No formula of `coincide.planning` or `coincide.rig`
is used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from coincide.rig.model import Body, Rig
from coincide.rig.parts import Electronic, Leaf
from tests.rig.optics.test_geometry import LENS_POINTS, WORLD

Array = npt.NDArray[np.float64]
ENDS = (-0.5, 0.5)


def film_m(body: Body, subject_m: float = math.inf) -> float:
    """Lens to film by Newton's form of the lens equation: x x' = f**2."""
    f_m, scale_m = body.lens.focal_length_m, body.lens.focused_m
    if scale_m is None:
        return f_m if math.isinf(subject_m) else f_m + f_m**2 / (subject_m - f_m)
    if math.isinf(scale_m):
        return f_m
    extension = f_m**2 / (scale_m - 2 * f_m)  # scale = 2 f + x + f**2 / x, solved by going round
    for _ in range(60):
        extension = f_m**2 / (scale_m - 2 * f_m - extension)
    return f_m + extension


def scene_to_film(body: Body, tangent: Array, b_m: float) -> Array:
    """Where a direction of the scene (x, z as tangents) lands: to the body's right and top, seen from behind."""
    axis, top = LENS_POINTS[body.mount.looks], WORLD[body.mount.top_plate]
    ray = np.array([tangent[0], 1.0, tangent[1]])
    if body.mount.looks != "straight":
        face = axis - np.array([0.0, 1.0, 0.0])
        face = face / np.sqrt(face @ face)
        ray = ray - 2 * (ray @ face) * face
    hit = -b_m * (ray / (ray @ axis) - axis)  # through the lens, to the other side
    right = np.cross(axis, top)
    return np.array([hit @ right, hit @ top])


def passing_s(body: Body, tangent: Array, b_m: float) -> float:
    """When the middle of the exposure passes a direction of the scene; nothing is clipped beyond the frame."""
    if isinstance(body.shutter, Leaf):
        return 0.0
    right, top = scene_to_film(body, tangent, b_m)
    width, height = body.frame.width_m, body.frame.height_m
    run = {
        "left to right": right / width + 0.5,
        "right to left": 0.5 - right / width,
        "top to bottom": 0.5 - top / height,
        "bottom to top": 0.5 + top / height,
    }[body.shutter.sweep]
    shutter = body.shutter
    travel_s = shutter.readout_s if isinstance(shutter, Electronic) else shutter.travel_s
    return float(travel_s * _when(min(max(float(run), 0.0), 1.0), getattr(body.shutter, "curve", 0.5)))


def _when(run: float, curve: float) -> float:
    """Constant force: position = s t + (1 - s) t**2, with s such that the rest after the middle is `curve`."""
    at = 1.0 - curve
    if abs(at - 0.5) < 1e-6:
        return run
    speed = (at**2 - 0.5) / (at**2 - at)
    a, c = 1.0 - speed, -run
    return (-speed + math.sqrt(max(speed**2 - 4 * a * c, 0.0))) / (2 * a)


def corner(rig: Rig, subject_m: float = math.inf) -> Array:
    """Half the field that both bodies see, tangents to the right and up, by pushing out until a film ends."""
    halves = []
    for side in (np.array([1.0, 0.0]), np.array([0.0, 1.0])):
        reach = math.inf
        for body in rig.both:
            b_m = film_m(body, subject_m)
            right, top = np.abs(scene_to_film(body, side * 1e-3, b_m)) / 1e-3
            reach = min(
                reach,
                body.frame.width_m / 2 / right if right > top else body.frame.height_m / 2 / top,
            )
        halves.append(reach)
    return np.array(halves)


def turned_ends_m(rig: Rig, rate_rad_s: float) -> float:
    """How far apart a still scene's ends lie, at most, in any corner, once the common turning is registered away."""
    half = corner(rig)
    worst = 0.0
    for body in rig.both:
        b_m = film_m(body)
        skews = {}
        for sides in ((i, j) for i in (-1, 0, 1) for j in (-1, 0, 1)):
            at = half * np.array(sides, float) * 0.9999
            skews[sides] = _skew_s(rig, at)
        middle = (
            max(skews.values()) + min(skews.values())
        ) / 2  # what a registration of whole frames takes away
        for sides, skew_s in skews.items():
            at = half * np.array(sides, float) * 0.9999
            for end in ENDS:
                apart_s = skew_s - middle + end * (_exposure(rig, 1) - _exposure(rig, 0))
                for axis in ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0)):
                    moved = turned(at, np.array(axis), rate_rad_s * apart_s) - at
                    worst = max(worst, float(np.hypot(*moved)) * b_m)
    return worst


def turned(tangent: Array, axis: Array, angle: float) -> Array:
    """A direction after the rig turned about an axis (x to the right, y ahead, z up), by Rodrigues' rotation."""
    ray = np.array([tangent[0], 1.0, tangent[1]])
    ray = (
        ray * math.cos(angle)
        + np.cross(axis, ray) * math.sin(angle)
        + axis * (axis @ ray) * (1 - math.cos(angle))
    )
    return np.array([ray[0] / ray[1], ray[2] / ray[1]])


def _exposure(rig: Rig, index: int) -> float:
    return rig.both[index].shutter.exposure.nominal_s


def _skew_s(rig: Rig, at: Array, subject_m: float = math.inf) -> float:
    """B's passing less A's, less the same in frame centre."""
    centre = np.zeros(2)
    first, second = (
        passing_s(body, at, film_m(body, subject_m)) - passing_s(body, centre, film_m(body, subject_m))
        for body in rig.both
    )
    return second - first


@dataclass(frozen=True)
class Mover:
    """Speed m/s, distance m, angle from across towards the camera, and to which side it goes (1 or -1)."""

    speed_m_s: float
    distance_m: float
    angle_rad: float
    side: float

    def seen(self, place: Array, time_s: float) -> Array:
        """Its direction (tangents) that long after it was at `place`."""
        along = self.speed_m_s * time_s
        ahead_m = self.distance_m - along * math.sin(self.angle_rad)
        x = self.distance_m * place[0] + self.side * along * math.cos(self.angle_rad)
        return np.array([x, self.distance_m * place[1]]) / ahead_m


def outlines_m(rig: Rig, mover: Mover, place: Array, skew_s: float = 0.0) -> tuple[list[float], list[float]]:
    """What both films show of a mover that is at `place` when the slits pass frame centre: the ghost on A's film and
    on B's (the ends that lie farthest apart), and the own blurs. The slit meets the picture where it then is."""
    seen: list[list[Array]] = []
    for index, body in enumerate(rig.both):
        b_m = film_m(body, mover.distance_m)
        centre_s = passing_s(body, np.zeros(2), b_m)
        ends = []
        for end in ENDS:
            start_s = index * skew_s + end * _exposure(rig, index) - centre_s
            time_s = start_s
            for _ in range(40):
                before_s, time_s = time_s, start_s + passing_s(body, mover.seen(place, time_s), b_m)
                if abs(time_s - before_s) < 1e-10:
                    break
            ends.append(mover.seen(place, time_s))
        seen.append(ends)
    apart = max(float(np.hypot(*(b - a))) for a, b in zip(*seen, strict=True))
    films = [film_m(body, mover.distance_m) for body in rig.both]
    blurs = [float(np.hypot(*(ends[1] - ends[0]))) * b_m for ends, b_m in zip(seen, films, strict=True)]
    return [apart * b_m for b_m in films], blurs


def largest_outlines_m(
    rig: Rig, mover: Mover, steps: int, skew_s: float = 0.0
) -> tuple[list[float], list[float]]:
    """The same, the largest over places all over the common field, both sides and both signs of the skew."""
    half = corner(rig, mover.distance_m) * 0.9999
    at = np.linspace(-1, 1, steps) if steps > 1 else np.zeros(1)
    found = [
        outlines_m(rig, replace(mover, side=side), half * np.array([i, j]), sign * skew_s)
        for i in at
        for j in at
        for side in (1.0, -1.0)
        for sign in ((1.0, -1.0) if skew_s else (1.0,))
    ]
    ghosts, blurs = (np.max([one[kind] for one in found], axis=0).tolist() for kind in (0, 1))
    return ghosts, blurs
