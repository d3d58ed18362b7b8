"""Two bodies at a beam splitter, traced ray by ray: a photograph far away, boards near by. Shares nothing with the
analysis: a body is a pupil and three axes in the room; the glass is a plane on which a ray is turned back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from skimage import color, data

Floats = npt.NDArray[np.float64]

GLASS_AT_M = 0.06  # from A's pupil, along its lens


@dataclass(frozen=True)
class Camera:
    """pupil_m, right, top, lens (3,): in the room, x to the photographer's right, y to the scene, z up. The lens looks
    into the glass when its axis is not y."""

    pupil_m: Floats
    right: Floats
    top: Floats
    lens: Floats
    image_m: float
    pitch_m: float
    size_px: tuple[int, int]
    mirror: Floats | None = None  # normal of the glass it looks into

    def turned(self, axis: Floats, angle: float) -> Camera:
        """About one of its own axes, by Rodrigues' formula."""

        def about(v: Floats) -> Floats:
            return np.asarray(
                v * np.cos(angle)
                + np.cross(axis, v) * np.sin(angle)
                + axis * (axis @ v) * (1 - np.cos(angle))
            )

        return replace(self, right=about(self.right), top=about(self.top), lens=about(self.lens))


def turned_by_hand(camera: Camera, pan_left: float, tilt_up: float, roll_clockwise: float) -> Camera:
    """As a person does it, one knob after the other."""
    camera = camera.turned(camera.top, pan_left)
    camera = camera.turned(camera.right, tilt_up)
    return camera.turned(camera.lens, roll_clockwise)


@dataclass(frozen=True)
class Board:
    """A square of texture, facing the rig: centre (3,), side, which photograph."""

    centre_m: Floats
    side_m: float
    look: str


def far_photograph(name: str) -> Floats:
    """A photograph as grey in 0..1."""
    image = getattr(data, name)()
    return np.asarray(color.rgb2gray(image) if image.ndim == 3 else image / 255.0, np.float64)


def picture(camera: Camera, far: Floats, boards: Sequence[Board], far_half: float = 0.75) -> Floats:
    """What the camera's finder would show, (h, w) in 0..1. `far` fills tangents of +-far_half across, at infinity."""
    width, height = camera.size_px
    x = (np.arange(width) - (width - 1) / 2) * camera.pitch_m
    y = ((height - 1) / 2 - np.arange(height)) * camera.pitch_m
    gx, gy = np.meshgrid(x, y)
    rays = gx[..., None] * camera.right + gy[..., None] * camera.top + camera.image_m * camera.lens
    start = np.broadcast_to(camera.pupil_m, rays.shape)
    if camera.mirror is not None:
        normal = camera.mirror
        reach = ((np.array([0.0, GLASS_AT_M, 0.0]) - start) @ normal) / (rays @ normal)
        start = start + reach[..., None] * rays
        rays = rays - 2 * (rays @ normal)[..., None] * normal
    tx, tz = rays[..., 0] / rays[..., 1], rays[..., 2] / rays[..., 1]
    rows, columns = far.shape
    scale = (columns - 1) / (2 * far_half)
    shown = ndimage.map_coordinates(
        far, [(rows - 1) / 2 - tz * scale, (columns - 1) / 2 + tx * scale], order=3, mode="reflect"
    )
    for board in boards:
        part = far_photograph(board.look)[:256, :256]
        reach = (board.centre_m[1] - start[..., 1]) / rays[..., 1]
        hit = start + reach[..., None] * rays
        u = (hit[..., 0] - board.centre_m[0]) / board.side_m + 0.5
        v = 0.5 - (hit[..., 2] - board.centre_m[2]) / board.side_m
        on = (u > 0) & (u < 1) & (v > 0) & (v < 1)
        painted = ndimage.map_coordinates(part, [v * 255, u * 255], order=1, mode="nearest")
        shown = np.where(on, painted, shown)
    return np.clip(shown, 0, 1)
