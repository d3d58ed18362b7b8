"""Ideal lenses: from pixels of scan A through the scene to pixels of scan B."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from coincide.ghost.mount.sides import Sides

Floats = npt.NDArray[np.float64]

TURN, SCALE, BEND, PUPIL = slice(0, 3), 3, 4, slice(5, 8)  # of the parameters
PARAMETERS = 8


@dataclass(frozen=True, slots=True)
class Projection:
    """Sizes in pixels (width, height), where the middle of the picture lies in the scan (x, y), pitches and image
    distances in metres, of A and B each."""

    sizes_px: tuple[tuple[int, int], tuple[int, int]]
    middles_px: tuple[Floats, Floats]
    pitches_m: tuple[float, float]
    image_m: tuple[float, float]
    sides: Sides

    def rays(self, a_px: Floats) -> Floats:
        """Pixels of A (n, 2) to directions in the scene (n, 3), one metre deep."""
        on_film_m = (a_px - self.middles_px[0]) @ self.sides.a.T * self.pitches_m[0]
        tangents = on_film_m / self.image_m[0]
        return np.stack([tangents[:, 0], np.ones(len(a_px)), tangents[:, 1]], axis=1)

    def to_b(self, a_px: Floats, parameters: Floats, distance_m: Floats) -> Floats:
        """Pixels of B (n, 2) for the parameters (8,): turn vector of B's view against A's, radians; log of the scale
        over what the image distances give; bend (part of the radius at A's corner); pupil of B less that of A, metres.
        distance_m (n,): along the lens axis, may be infinite.
        """
        rays = self.rays(a_px) - parameters[PUPIL] / distance_m[:, None]
        seen = Rotation.from_rotvec(parameters[TURN]).inv().apply(rays)
        tangents = seen[:, [0, 2]] / seen[:, 1:2]
        radius = (tangents**2).sum(axis=1, keepdims=True) / self._corner**2
        on_film_m = tangents * self.image_m[1] * math.exp(parameters[SCALE]) * (1 + parameters[BEND] * radius)
        return np.asarray(self.middles_px[1] + on_film_m / self.pitches_m[1] @ np.linalg.inv(self.sides.b).T)

    @property
    def _corner(self) -> float:
        return math.hypot(*self.sizes_px[0]) / 2 * self.pitches_m[0] / self.image_m[0]
