"""Which way round two scans lie: from their pixels to the scene, by the rig's mounts and what registration found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.rig.model import Rig
from coincide.rig.optics.geometry import View, view_of
from coincide.scans.register.alignment import Alignment

Floats = npt.NDArray[np.float64]
Held = Literal["as the bodies' own finders would show them", "as the scene was"]

_DOWN = np.diag([1.0, -1.0])  # pixels count downwards


@dataclass(frozen=True, slots=True)
class Sides:
    """a, b (2, 2): pixels (right, down) to the scene (right, up). held: how scan A was taken to lie. sure: whether
    the scans themselves told, or it is the usual way that was taken."""

    a: Floats
    b: Floats
    held: Held
    sure: bool


def sides_of(rig: Rig, alignment: Alignment) -> Sides:
    """How scan A and B lie against the scene.

    A finder shows the picture of a body behind the glass mirrored or turned. If the scans differ as the two finders
    do, they are unflipped, each as its finder shows it; if not, they were set upright as the scene was.
    """
    views = [view_of(body) for body in rig.both]
    finders = [_finder(view) for view in views]
    between = _nearest_side(alignment)
    of_finders = np.linalg.inv(finders[1]) @ finders[0]
    unflipped = np.allclose(between, of_finders)
    upright = np.allclose(between, np.eye(2))
    a = finders[0] if unflipped else _DOWN
    held: Held = "as the bodies' own finders would show them" if unflipped else "as the scene was"
    ambiguous = unflipped and upright and not np.allclose(finders[0], _DOWN)
    return Sides(a, a @ np.linalg.inv(between), held, sure=(unflipped or upright) and not ambiguous)


def _finder(view: View) -> Floats:
    """Pixels of an unflipped scan, right and down, to the scene's right and up."""
    return np.asarray(np.stack([view.right, -view.up], axis=1))


def _nearest_side(alignment: Alignment) -> Floats:
    """The quarter turns and mirroring nearest to the map of A's pixels to B's."""
    linear = alignment.matrix[:2, :2] / alignment.gauge
    rounded = np.where(np.abs(linear) > 0.5**0.5, np.sign(linear), 0.0)
    return np.asarray(rounded, np.float64)
