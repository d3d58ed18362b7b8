"""Thin-lens optics, in metres. Distances count from the front principal plane unless said otherwise."""

from __future__ import annotations

import math

from coincide.errors import BadInput
from coincide.rig.model import Body

# 43.27 mm / 1442 = 0.030 mm for 24 x 36 mm: the customary circle of confusion (common practice, no source).
DIAGONAL_PER_CONFUSION = 1442.0
# 0.2 mm seen from 25 cm: the customary sharpness of a print (common practice, no source).
PRINT_CONFUSION_PER_DISTANCE = 0.0002 / 0.25


def magnification(focal_length_m: float, distance_m: float) -> float:
    """m = f / (D - f). Raises BadInput for a distance inside the focal length."""
    if distance_m <= focal_length_m:
        raise BadInput(
            f"The distance {_length(distance_m)} lies inside the focal length of {_length(focal_length_m)}: "
            "nothing there makes a picture; give a larger distance."
        )
    return focal_length_m / (distance_m - focal_length_m)


def image_distance_m(focal_length_m: float, focused_m: float | None) -> float:
    """Rear principal plane to film, b = f (1 + m), focused at a distance; f itself when that is None."""
    if focused_m is None or math.isinf(focused_m):
        return focal_length_m
    return focal_length_m * (1.0 + magnification(focal_length_m, focused_m))


def from_focusing_scale_m(scale_m: float, focal_length_m: float) -> float:
    """Distance from the front principal plane of what the focusing scale says, which counts from the film.

    Thin lens: scale = D + b with 1/f = 1/D + 1/b. Raises BadInput below 4 f, where no lens can focus.
    """
    root = scale_m * (scale_m - 4.0 * focal_length_m)
    if root < 0:
        raise BadInput(
            f"The focusing scale cannot stand at {_length(scale_m)}: a {_length(focal_length_m)} lens "
            f"focuses no nearer than {_length(4 * focal_length_m)} from the film."
        )
    return (scale_m + math.sqrt(root)) / 2.0


def body_image_distance_m(body: Body, subject_m: float) -> float:
    """Lens to film of a body focused as its lens says, or on the subject where the lens does not say."""
    f_m = body.lens.focal_length_m
    if body.lens.focused_m is None:
        return image_distance_m(f_m, subject_m)
    return image_distance_m(f_m, from_focusing_scale_m(body.lens.focused_m, f_m))


def direction_factor(angle_rad: float, x: float, z: float) -> float:
    """Image speed of a subject on level ground, in units of b v / D, seen at tangents (x, z) from the lens axis.

    angle_rad: how far its way turns from across (0) towards the camera (pi/2). What comes nearer moves away from
    the frame's centre, by the tangent of its place; the side to which both parts add up is taken.
    """
    along = abs(math.cos(angle_rad)) + abs(x) * abs(math.sin(angle_rad))
    return math.hypot(along, abs(z) * math.sin(angle_rad))


def circle_of_confusion_m(diagonal_m: float) -> float:
    """The format's customary circle of confusion, diagonal / 1442. A figure for depth of field."""
    return diagonal_m / DIAGONAL_PER_CONFUSION


def hyperfocal_m(focal_length_m: float, f_number: float, confusion_m: float) -> float:
    """Nearest distance that is sharp enough with the lens at infinity, plus f: f**2 / (N c) + f."""
    return focal_length_m**2 / (f_number * confusion_m) + focal_length_m


def depth_of_field_m(
    focal_length_m: float, f_number: float, confusion_m: float, focused_m: float
) -> tuple[float, float]:
    """Nearest and farthest distance that is sharp enough; the farthest may be infinite."""
    hyperfocal = hyperfocal_m(focal_length_m, f_number, confusion_m)
    if math.isinf(focused_m):
        return hyperfocal - focal_length_m, math.inf
    beyond = focused_m - focal_length_m
    near = focused_m * (hyperfocal - focal_length_m) / (hyperfocal - focal_length_m + beyond)
    if focused_m >= hyperfocal:
        return near, math.inf
    return near, focused_m * (hyperfocal - focal_length_m) / (hyperfocal - focal_length_m - beyond)


def _length(metres: float) -> str:
    return f"{metres:g} m" if metres >= 1 else f"{metres * 1000:g} mm"
