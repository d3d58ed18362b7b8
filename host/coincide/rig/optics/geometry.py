"""What a body sees of the scene, and which way round: vectors and one reflection.

Axes as the photographer stands behind the rig: x to the right, y towards the scene, z up. A body has a lens
axis d, a top plate t, and its right-hand side d x t as seen from behind. The glass turns the axis of a body
that sees the reflection into the scene: its normal is d - y, and everything the body sees is reflected in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.rig.model import Body
from coincide.rig.optics.thin_lens import body_image_distance_m
from coincide.rig.parts import Electronic, FocalPlane, Frame, Leaf, Looks, Mount, Sweep, TopPlate

Vector = npt.NDArray[np.float64]
Mirrored = Literal["no", "left-right", "top-bottom"]
Turned = Literal["no", "upside down", "a quarter left", "a quarter right"]

SCENE = np.array([0.0, 1.0, 0.0])
AXES: dict[Looks, Vector] = {
    "straight": SCENE,
    "up at the glass": np.array([0.0, 0.0, 1.0]),
    "down at the glass": np.array([0.0, 0.0, -1.0]),
    "from the left": np.array([1.0, 0.0, 0.0]),
    "from the right": np.array([-1.0, 0.0, 0.0]),
}
TOP_PLATES: dict[TopPlate, Vector] = {
    "up": np.array([0.0, 0.0, 1.0]),
    "down": np.array([0.0, 0.0, -1.0]),
    "left": np.array([-1.0, 0.0, 0.0]),
    "right": np.array([1.0, 0.0, 0.0]),
    "towards the scene": SCENE,
    "towards the photographer": -SCENE,
}
# The way a curtain runs at the gate, seen from behind the body: parts along its right and its top.
GATE_SWEEPS: dict[Sweep, tuple[float, float]] = {
    "left to right": (1.0, 0.0),
    "right to left": (-1.0, 0.0),
    "top to bottom": (0.0, -1.0),
    "bottom to top": (0.0, 1.0),
}


@dataclass(frozen=True, slots=True)
class View:
    """A body's picture of the scene, in scene directions (x to the right, z up).

    right, up: where the body's own right and top lie in the scene; unit vectors (2,). sweep: the way the
    exposure runs over the scene, None for a leaf shutter. half_x, half_z: half the field, as tangents.
    travel_s: edge to edge along the sweep; curve: its shape. half_sweep: half the field along the sweep.
    turned, mirrored: what sets the picture right, as the body's own finder would show it: first the turn,
    then the flip.
    """

    right: Vector
    up: Vector
    sweep: Vector | None
    half_x: float
    half_z: float
    half_sweep: float
    travel_s: float
    curve: float
    mirrored: Mirrored
    turned: Turned


def view_of(body: Body, subject_m: float = math.inf) -> View:
    """What a body sees, from its mount, frame, lens and shutter.

    Focused as its lens says, else on `subject_m`, metres from the lens: near by, the film stands farther from
    the lens and sees less of the scene.
    """
    right, up = _scene_sides(body.mount)
    b_m = body_image_distance_m(body, subject_m)
    half_right = body.frame.width_m / 2 / b_m
    half_up = body.frame.height_m / 2 / b_m
    half_x, half_z = np.abs(right) * half_right + np.abs(up) * half_up
    shutter = body.shutter
    sweep, half_sweep, travel_s, curve = None, 0.0, 0.0, 0.5
    if not isinstance(shutter, Leaf):
        along_right, along_up = GATE_SWEEPS[shutter.sweep]
        # The lens turns its picture by half a turn: the curtain that runs down uncovers the scene upwards.
        sweep = -(along_right * right + along_up * up)
        half_sweep = half_right if along_right else half_up
        travel_s = shutter.readout_s if isinstance(shutter, Electronic) else shutter.travel_s
        curve = shutter.curve if isinstance(shutter, FocalPlane) else 0.5
    mirrored, turned = _orientation(right, up)
    return View(right, up, sweep, float(half_x), float(half_z), half_sweep, travel_s, curve, mirrored, turned)


def along_sweep_m(frame: Frame, sweep: Sweep) -> float:
    """The side of the frame along which a curtain runs."""
    return frame.width_m if GATE_SWEEPS[sweep][0] else frame.height_m


def scene_sweep_words(view: View) -> str:
    """The way the exposure runs over the scene, in words."""
    if view.sweep is None:
        return "the whole frame at once"
    x, z = view.sweep
    words = {
        (1, 0): "left to right",
        (-1, 0): "right to left",
        (0, 1): "bottom to top",
        (0, -1): "top to bottom",
    }
    return words[(round(float(x)), round(float(z)))] + " in the scene"


def scan_words(view: View) -> str:
    """What to do to a scan, held as the body's own finder would show it, to see the scene as it was."""
    turn = {
        "no": "",
        "upside down": "turn it by half a turn",
        "a quarter left": "turn it a quarter to the left",
        "a quarter right": "turn it a quarter to the right",
    }[view.turned]
    flip = {
        "no": "",
        "left-right": "flip it left to right",
        "top-bottom": "flip it top to bottom",
    }[view.mirrored]
    steps = [step for step in (turn, flip) if step]
    return ", then ".join(steps) if steps else "nothing"


def body_axes(mount: Mount) -> tuple[Vector, Vector, Vector]:
    """Where the body's right, its top plate and its lens point in the room, (3,) each."""
    axis, top = AXES[mount.looks], TOP_PLATES[mount.top_plate]
    return np.cross(axis, top), top, axis


def reflection(mount: Mount) -> Vector:
    """From the room to the scene as the body sees it, (3, 3): the glass, or nothing for a body that looks straight."""
    axis = AXES[mount.looks]
    if mount.looks == "straight":
        return np.eye(3)
    normal = (axis - SCENE) / np.linalg.norm(axis - SCENE)
    return np.asarray(np.eye(3) - 2.0 * np.outer(normal, normal))


def _scene_sides(mount: Mount) -> tuple[Vector, Vector]:
    """Where the body's right and top lie in the scene, (x, z) each."""
    right, top, _ = body_axes(mount)
    glass = reflection(mount)
    right, top = glass @ right, glass @ top
    return right[[0, 2]].round(12) + 0.0, top[[0, 2]].round(12) + 0.0


def _orientation(right: Vector, up: Vector) -> tuple[Mirrored, Turned]:
    mirrored = right[0] * up[1] - right[1] * up[0] < 0
    if up[1] != 0:
        if mirrored:
            return ("left-right" if up[1] > 0 else "top-bottom"), "no"
        return "no", ("no" if up[1] > 0 else "upside down")
    # The body's top lies to a side of the scene: a quarter turn brings it there.
    turned: Turned = "a quarter right" if up[0] > 0 else "a quarter left"
    return ("top-bottom" if mirrored else "no"), turned
