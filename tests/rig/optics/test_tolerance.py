"""Tolerance on film and in time, and the plan of a pair."""

from __future__ import annotations

import math
from typing import Any

import pytest

from coincide.rig.optics.tolerance import tolerance, tolerance_s
from coincide.rig.plan import rig_plan
from tests.rig.rigs import LEAF, REMOVE, rig_with

WALKER: dict[str, Any] = {
    "tolerance.subject": {"speed": "5 m/s", "distance": "10 m"},
    "bodies.a.lens.focused": "10.0352 m",
    "bodies.b.lens.focused": "10.0352 m",
}


def test_a_distance_on_film_becomes_a_time() -> None:
    """35 mm lens, 10 m, 5 m/s across: 35.12 um in 2 ms, worked by hand from the thin-lens equation."""
    assert tolerance_s(rig_with(WALKER | {"tolerance.on_film": "35.12 um"})) == pytest.approx(0.002, rel=1e-4)


def test_scan_pixels_prints_and_the_format() -> None:
    pixels = tolerance(rig_with(WALKER | {"tolerance.scan_pixels": 3}))
    assert pixels.on_film_m == pytest.approx((3 * 6.35e-6,) * 2)
    printed = tolerance(
        rig_with(WALKER | {"tolerance.print": {"long_side": "36 cm", "viewed_from": "50 cm"}})
    )
    # 0.2 mm at 25 cm is 0.4 mm at 50 cm; enlarged ten times.
    assert printed.on_film_m == pytest.approx((40e-6,) * 2)
    plain = tolerance(rig_with(WALKER))
    assert plain.on_film_m == pytest.approx((30.0e-6,) * 2, rel=1e-3)
    assert "0.030 mm on 24 x 36, scaled by the diagonal" in plain.how
    assert plain.centre_s == plain.corner_s == plain.tolerance_s


def test_a_time_is_taken_at_its_word() -> None:
    given = tolerance(rig_with({"tolerance.time": "2 ms"}))
    assert given.tolerance_s == 0.002
    assert "tolerance.time" in given.how


def test_what_comes_towards_the_camera_moves_in_the_corner_only() -> None:
    coming = {"speed": "5 m/s", "distance": "10 m", "direction": "towards", "point": "corner"}
    found = tolerance(rig_with({"tolerance.subject": coming, "tolerance.on_film": "30 um"}))
    corner_m = math.hypot(0.036, 0.024) / 2
    assert found.tolerance_s == pytest.approx(30e-6 * 10 / (corner_m * 5))
    assert found.centre_s == math.inf


def test_the_corner_is_that_of_what_both_see() -> None:
    """A long lens on B sees the middle of A's picture: nothing of A's own corner can lie apart from B's. Judge: a point
    at B's corner followed through a pinhole, step by step."""
    coming = {"speed": "5 m/s", "distance": "10 m", "direction": "towards", "point": "corner"}
    rig = rig_with(
        {"tolerance.subject": coming, "tolerance.on_film": "30 um", "bodies.b.lens.focal_length": "70 mm"}
    )
    times = []
    for own_m in (0.035, 0.070):
        b_m = own_m * 10 / (10 - own_m)
        beside_m = math.hypot(0.018, 0.012) * 10 / (0.070 * 10 / (10 - 0.070))  # at B's corner, 10 m away
        moved_m, time_s = 0.0, 0.0
        while moved_m < 30e-6:
            time_s += 1e-6
            moved_m = b_m * beside_m / (10 - 5 * time_s) - b_m * beside_m / 10
        times.append(time_s)
    assert tolerance(rig).corner_s == pytest.approx(min(times), rel=2e-3)
    assert tolerance(rig).corner_s == pytest.approx(30e-6 * 10 / (math.hypot(0.018, 0.012) * 5), rel=0.01)


def test_the_stricter_body_decides() -> None:
    longer = rig_with(WALKER | {"bodies.b.lens.focal_length": "70 mm", "tolerance.on_film": "30 um"})
    shorter = rig_with(WALKER | {"tolerance.on_film": "30 um"})
    assert tolerance_s(longer) == pytest.approx(tolerance_s(shorter) / 2, rel=0.01)


def test_an_unfocused_lens_is_taken_as_focused_on_the_subject() -> None:
    free = rig_with(WALKER | {"bodies.a.lens.focused": REMOVE, "bodies.b.lens.focused": REMOVE})
    assert tolerance_s(free) == pytest.approx(tolerance_s(rig_with(WALKER)), rel=1e-5)


def test_the_plan_of_a_pair() -> None:
    rig = rig_with()
    plan = rig_plan(rig)
    assert (plan.delay_a_ns, plan.delay_b_ns) == (0, 0)
    assert (plan.lead_ns, plan.closure_ns) == (300_000_000, 150_000_000)
    # latest 1 s + exposure 31.25 ms + travel 6.8 ms + 50 ms
    assert plan.window_ns == 1_088_050_000
    assert rig_plan(rig, 0.018).offset_s == pytest.approx(0.018)
    assert rig_plan(rig, -0.018).delay_b_ns == 18_000_000
    assert rig_plan(rig_with({"release.window": "3 s"})).window_ns == 3_000_000_000
    assert rig_plan(rig_with({"edges.latest": "10 s"})).window_ns == 10_000_000_000
    leaf = rig_plan(rig_with({"bodies.a.shutter": LEAF, "bodies.b.shutter": LEAF}))
    assert leaf.window_ns == pytest.approx((1 + 2**-7 + 0.0022 + 0.05) * 1e9, abs=1)
