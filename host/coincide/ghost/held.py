"""How the scan of body A is held against the scene: as the body sees it, or set right by the person.

A body behind the glass sees the scene reflected or turned, and its scan may or may not have been set right
since. How the two scans lie on each other tells which, where the rig's two views differ enough to tell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput
from coincide.rig.model import Body, Rig
from coincide.rig.optics.geometry import view_of

Held = Literal["as the body sees it", "set right"]
Sides = npt.NDArray[np.float64]

HELD: tuple[Held, ...] = ("as the body sees it", "set right")
_ALIKE = 0.7  # cosine: a side within 45 degrees of the way it should point


@dataclass(frozen=True, slots=True)
class Laid:
    """How scan B lies on scan A, as the registration found it: turn_deg clockwise, after mirroring."""

    mirrored: bool
    turn_deg: float


def held_of(rig: Rig, laid: Laid, said: Held | None) -> Held:
    """How A's scan is held: as `said`, else as `laid` allows. Raises BadInput where that leaves it open."""
    body = rig.bodies.a
    if said is not None:
        return said
    if np.allclose(_sides(body, "as the body sees it"), np.eye(2)):
        return "set right"  # the body sees the scene as it is: the two are one
    angle = math.radians(laid.turn_deg)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    measured = turn @ np.diag([-1.0 if laid.mirrored else 1.0, 1.0])
    fits = {
        held
        for held in HELD
        for other in HELD
        if _agree(_a_to_b(_sides(body, held), _sides(rig.bodies.b, other)), measured)
    }
    if len(fits) == 1:
        return fits.pop()
    raise BadInput(
        f"How the scan of body {body.name} was held cannot be told from how the scans lie on each other: it sees the "
        "scene reflected or turned. Give --scan-a 'as the body sees it', or 'set right' if you flipped or turned it."
    )


def place_in_scene(rig: Rig, held: Held, place: tuple[float, float]) -> tuple[float, float]:
    """A place in A's scan, fractions from its left and top, as fractions from the left and top of the scene."""
    across, upwards = 2 * place[0] - 1, 1 - 2 * place[1]
    right, up = _sides(rig.bodies.a, held)
    x, z = across * right + upwards * up
    return (min(max((1 + float(x)) / 2, 0.0), 1.0), min(max((1 - float(z)) / 2, 0.0), 1.0))


def _sides(body: Body, held: Held) -> Sides:
    """Where the scan's right and top lie in the scene, (x, z) each: the rows of (2, 2)."""
    if held == "set right":
        return np.eye(2)
    view = view_of(body)
    return np.stack([view.right, view.up])


def _a_to_b(a: Sides, b: Sides) -> Sides:
    """Directions in A's picture (right, down) to directions in B's."""
    down = np.diag([1.0, -1.0])
    return np.asarray(down @ b @ a.T @ down)


def _agree(expected: Sides, measured: Sides) -> bool:
    return bool((np.sum(expected * measured, axis=0) > _ALIKE).all())
