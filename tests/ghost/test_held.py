"""A region of a scan back to the skew that made it, for every mount and every way the scans may be held.

The truth is traced: rays over the mirror, through a pinhole, to a film plane with its curtain (the tracer of
tests/rig/optics/test_geometry.py, which knows nothing of views).
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coincide.errors import BadInput
from coincide.ghost.explain import explain
from coincide.ghost.held import HELD, Held, Laid
from coincide.ghost.scan_result import Region
from coincide.ghost.things import thing_in_region
from coincide.rig.model import Body
from tests.rig.optics.test_geometry import TOPS, image_on_film, mid_exposure_s
from tests.rig.rigs import rig_with

Vector = np.ndarray[Any, Any]
AWAY_M, SPEED_M_S = 200.0, 3.0
STRAIGHT = [("straight", top) for top in TOPS["straight"]]
GLASS = [(looks, top) for looks, tops in TOPS.items() for top in tops if looks != "straight"]


def splitter(mounts: tuple[tuple[str, str], tuple[str, str]]) -> dict[str, Any]:
    """The body that looks straight through the glass has the transmitted light."""
    light = {True: "transmitted", False: "reflected"}
    return {
        f"splitter.{letter}": light[looks == "straight"]
        for letter, (looks, _) in zip("ab", mounts, strict=True)
    }


def axes(body: Body, held: Held) -> Vector:
    """Rows: which way a step to the right, and one down, in the scan lies on the film (its right, its top)."""
    native = np.array([[-1.0, 0.0], [0.0, 1.0]])  # the lens turns its picture by half a turn
    if held == "as the body sees it":
        return native
    middle = np.array(image_on_film(body, np.array([0.0, AWAY_M, 0.0])))
    steps = [
        np.array(image_on_film(body, np.array([x, AWAY_M, z]))) - middle for x, z in ((1.0, 0.0), (0.0, -1.0))
    ]
    return np.stack([(step / np.linalg.norm(step)).round() for step in steps])


def in_scan(body: Body, held: Held, point: Vector) -> Vector:
    """Where a point of the scene lies in the scan, fractions from its left and top."""
    side = axes(body, held)
    film = np.array(image_on_film(body, point))
    size = np.abs(side) @ np.array([body.frame.width_m, body.frame.height_m])
    return np.asarray(0.5 + side @ film / size)


def laid(a: Body, b: Body, held_a: Held, held_b: Held) -> Laid:
    """How scan B lies on scan A, from three points of the scene."""
    points = [np.array([x, AWAY_M, z]) for x, z in ((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))]
    metres = []
    for body, held in ((a, held_a), (b, held_b)):
        at = np.array([axes(body, held) @ np.array(image_on_film(body, point)) for point in points])
        metres.append((at[1:] - at[0]) / body.lens.focal_length_m)
    a_to_b = np.linalg.solve(metres[0], metres[1]).T
    mirrored = bool(np.linalg.det(a_to_b) < 0)
    if mirrored:
        a_to_b = a_to_b @ np.diag([-1.0, 1.0])
    return Laid(mirrored, math.degrees(math.atan2(a_to_b[1, 0], a_to_b[0, 0])))


@settings(max_examples=150, deadline=None)
@given(
    mounts=st.tuples(st.sampled_from(STRAIGHT), st.sampled_from(GLASS))
    | st.tuples(st.sampled_from(GLASS), st.sampled_from(STRAIGHT)),
    sweeps=st.tuples(
        *[st.sampled_from(["left to right", "right to left", "top to bottom", "bottom to top"])] * 2
    ),
    helds=st.tuples(st.sampled_from(HELD), st.sampled_from(HELD)),
    at=st.tuples(st.floats(-0.2, 0.2), st.floats(-0.2, 0.2)),
    skew_s=st.floats(-0.02, 0.02),
)
def test_the_skew_comes_back(
    mounts: tuple[tuple[str, str], tuple[str, str]],
    sweeps: tuple[str, str],
    helds: tuple[Held, Held],
    at: tuple[float, float],
    skew_s: float,
) -> None:
    changes: dict[str, Any] = splitter(mounts)
    for letter, (looks, top), sweep in zip("ab", mounts, sweeps, strict=True):
        changes[f"bodies.{letter}.mount"] = {"looks": looks, "top_plate": top}
        changes[f"bodies.{letter}.shutter.sweep"] = sweep
        changes[f"bodies.{letter}.lens.focused"] = "2 km"
    rig = rig_with(changes)
    a, b = rig.both
    here, centre = np.array([at[0] * AWAY_M, AWAY_M, at[1] * AWAY_M]), np.array([0.0, AWAY_M, 0.0])
    late_s = skew_s + sum(
        sign * (mid_exposure_s(body, here) - mid_exposure_s(body, centre)) for sign, body in ((1, b), (-1, a))
    )
    there = here + np.array([SPEED_M_S * late_s, 0.0, 0.0])
    size_px = np.abs(axes(a, helds[0])) @ np.array([a.frame.width_m, a.frame.height_m]) / 5e-6
    first, second = (in_scan(a, helds[0], point) * size_px for point in (here, there))
    towards = in_scan(a, helds[0], here + np.array([1.0, 0.0, 0.0])) * size_px - first
    way = max(
        {"right": (1, 0), "left": (-1, 0), "down": (0, 1), "up": (0, -1)}.items(),
        key=lambda item: float(np.dot(item[1], towards)),
    )[0]
    (right, down), (x, y), (width, height) = (
        (second - first).tolist(),
        (first - 0.5).tolist(),
        size_px.tolist(),
    )
    region = Region(1, (x, y), (right, down), (0.1, 0.1), 5.0, (width, height), laid(a, b, *helds))
    asked = (rig, {1: region}, "1", f"{SPEED_M_S} m/s {way}", f"{AWAY_M} m")
    try:
        thing = thing_in_region(*asked)
    except BadInput:
        thing = thing_in_region(*asked, held=helds[0])  # the scans did not tell, and it said so
    found = explain(rig, [thing])
    assert found.skew_s == pytest.approx(skew_s, abs=2e-4)
    assert abs(thing.aside_m) < 0.02 * abs(thing.apart_m) + 1e-9


def test_a_body_behind_the_glass_whose_scan_was_not_flipped() -> None:
    """A sees the scene reflected, B straight: scans mirrored against each other are as the bodies see it."""
    rig = rig_with(
        {
            **splitter((("from the left", "up"), ("straight", "up"))),
            "bodies.a.mount": {"looks": "from the left", "top_plate": "up"},
            "bodies.b.mount": {"looks": "straight", "top_plate": "up"},
        }
    )
    for mirrored, x in ((True, 0.9), (False, 0.1)):
        region = Region(1, (99.5, 499.5), (5.0, 0.0), (0.1, 0.1), 5.0, (1000, 1000), Laid(mirrored, 0.0))
        assert thing_in_region(rig, {1: region}, "1", "3 m/s right", "20 m").place == pytest.approx((x, 0.5))
