"""Geometry against rays: points in a scene, pinhole cameras, a mirror, and curtains over rows of film.

The tracer knows nothing of sweeps 'in the scene' or of tangents: it sends a straight line from a point, over
the mirror where there is one, through a pinhole, to a film plane, and asks when the curtain came by there.
"""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np
import pytest

from coincide.rig.model import Body, Rig
from coincide.rig.optics.geometry import scan_words, scene_sweep_words, view_of
from coincide.rig.optics.sweep import skew_map, sweep_skew_s, sweep_spread
from coincide.rig.optics.turning import advice, turnings
from coincide.rig.parts import Electronic, FocalPlane, Leaf
from tests.rig.rigs import LEAF, REMOVE, rig_with

# Metres. The glass stands at the origin, at 45 degrees; each body's pinhole is this far from it.
FROM_GLASS_M = 0.06
RIGHT, AHEAD, UP = np.eye(3)
WORLD = {
    "up": UP,
    "down": -UP,
    "right": RIGHT,
    "left": -RIGHT,
    "towards the scene": AHEAD,
    "towards the photographer": -AHEAD,
}
LENS_POINTS = {
    "straight": AHEAD,
    "up at the glass": UP,
    "down at the glass": -UP,
    "from the left": RIGHT,
    "from the right": -RIGHT,
}
TOPS = {
    "straight": ["up", "down", "left", "right"],
    "up at the glass": ["left", "right", "towards the scene", "towards the photographer"],
    "down at the glass": ["left", "right", "towards the scene", "towards the photographer"],
    "from the left": ["up", "down", "towards the scene", "towards the photographer"],
    "from the right": ["up", "down", "towards the scene", "towards the photographer"],
}
SWEEPS = ["left to right", "right to left", "top to bottom", "bottom to top"]


def film_behind_m(body: Body) -> float:
    """Lens to film, by halving: object and image distance make up the focusing scale, their inverses 1/f."""
    f_m, scale_m = body.lens.focal_length_m, body.lens.focused_m
    assert scale_m is not None
    low, high = f_m, 2 * f_m
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if 1 / middle + 1 / (scale_m - middle) > 1 / f_m else (low, middle)
    return (low + high) / 2


def image_on_film(body: Body, point: np.ndarray) -> tuple[float, float]:
    """Where a point in space lands on the film, seen from behind the body: to its right, towards its top."""
    axis, top = LENS_POINTS[body.mount.looks], WORLD[body.mount.top_plate]
    pinhole = -axis * FROM_GLASS_M
    if body.mount.looks != "straight":
        # The glass at 45 degrees between the axis and the scene: mirror the point itself in its plane.
        face = axis - AHEAD
        face = face / np.sqrt(face @ face)
        point = point - 2 * (point @ face) * face
    ray = pinhole - point
    film_at = pinhole - axis * film_behind_m(body)
    along = ((film_at - point) @ axis) / (ray @ axis)
    hit = point + along * ray - film_at
    # Behind the camera, facing where its lens points, top plate up: the right hand.
    right_hand = np.array(
        [
            axis[1] * top[2] - axis[2] * top[1],
            axis[2] * top[0] - axis[0] * top[2],
            axis[0] * top[1] - axis[1] * top[0],
        ]
    )
    return float(hit @ right_hand), float(hit @ top)


def mid_exposure_s(body: Body, point: np.ndarray) -> float:
    """When the slit was over the point's image, from the first curtain's entering; NaN outside the frame."""
    to_right, to_top = image_on_film(body, point)
    width, height = body.frame.width_m, body.frame.height_m
    if abs(to_right) > width / 2 or abs(to_top) > height / 2:
        return np.nan
    shutter = body.shutter
    if isinstance(shutter, Leaf):
        return 0.0
    run = {
        "left to right": (to_right + width / 2) / width,
        "right to left": (width / 2 - to_right) / width,
        "top to bottom": (height / 2 - to_top) / height,
        "bottom to top": (to_top + height / 2) / height,
    }[shutter.sweep]
    travel_s = shutter.readout_s if isinstance(shutter, Electronic) else shutter.travel_s
    curve = shutter.curve if isinstance(shutter, FocalPlane) else 0.5
    return travel_s * when_at(run, curve)


def when_at(run: float, curve: float) -> float:
    """By bisection on the motion itself: constant force, entering at such a speed that `curve` holds."""
    if abs(curve - 0.5) < 1e-6:
        return run

    def passed(tau: float, speed: float) -> float:
        return speed * tau + (1 - speed) * tau**2

    speed = ((1 - curve) ** 2 - 0.5) / ((1 - curve) ** 2 - (1 - curve))
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if passed(middle, speed) < run else (low, middle)
    return (low + high) / 2


def random_changes(random: np.random.Generator) -> dict[str, Any]:
    changes: dict[str, Any] = {}
    looks_b = str(random.choice([*LENS_POINTS][1:]))
    for letter, looks in (("a", "straight"), ("b", looks_b)):
        changes[f"bodies.{letter}.mount"] = {"looks": looks, "top_plate": str(random.choice(TOPS[looks]))}
        changes[f"bodies.{letter}.frame"] = {
            "width": f"{random.uniform(20, 60):.2f} mm",
            "height": f"{random.uniform(20, 60):.2f} mm",
        }
        changes[f"bodies.{letter}.lens.focal_length"] = f"{random.uniform(25, 90):.1f} mm"
        changes[f"bodies.{letter}.lens.focused"] = str(random.choice(["200 m", "0.6 m", "1.5 m"]))
        kind = random.choice(
            ["focal-plane", "electronic", "electronic-first-curtain", "leaf"], p=[0.6, 0.15, 0.15, 0.1]
        )
        if kind == "leaf":
            changes[f"bodies.{letter}.shutter"] = LEAF
            continue
        time = "readout" if kind == "electronic" else "travel"
        changes[f"bodies.{letter}.shutter"] = {
            "kind": str(kind),
            "exposure": "1/60",
            time: f"{random.uniform(2, 16):.3f} ms",
            "sweep": str(random.choice(SWEEPS)),
        } | ({"curve": float(random.uniform(0.3, 0.5))} if kind == "focal-plane" else {})
    return changes


def traced_skew_s(rig: Rig, x: float, z: float) -> float:
    point = (
        np.array([x, 1.0, z]) * 5000.0
    )  # far away, so that a few centimetres between the bodies are nothing
    first, second = (mid_exposure_s(body, point) for body in rig.both)
    centre = np.array([0.0, 5000.0, 0.0])
    first_0, second_0 = (mid_exposure_s(body, centre) for body in rig.both)
    return (second - second_0) - (first - first_0)


@pytest.mark.parametrize("seed", range(60))
def test_skew_over_the_frame_agrees_with_traced_rays(seed: int) -> None:
    random = np.random.default_rng(seed)
    rig = rig_with(random_changes(random))
    views = [view_of(body) for body in rig.both]
    half_x, half_z = (min(getattr(view, side) for view in views) for side in ("half_x", "half_z"))
    for _ in range(20):
        x, z = random.uniform(-half_x, half_x) * 0.999, random.uniform(-half_z, half_z) * 0.999
        assert sweep_skew_s(rig, x, z) == pytest.approx(traced_skew_s(rig, x, z), abs=2e-6)
    outside = traced_skew_s(rig, half_x * 1.01, 0.0), traced_skew_s(rig, 0.0, half_z * 1.01)
    assert np.isnan(outside).all()  # and the common field is no larger than the rays say


@pytest.mark.parametrize("seed", range(20))
def test_the_spread_is_that_of_traced_rays_over_the_frame(seed: int) -> None:
    random = np.random.default_rng(1000 + seed)
    rig = rig_with(random_changes(random))
    views = [view_of(body) for body in rig.both]
    half_x, half_z = (min(getattr(view, side) for view in views) * 0.9999 for side in ("half_x", "half_z"))
    steps = np.linspace(-1, 1, 25)
    traced = np.array([[traced_skew_s(rig, half_x * i, half_z * j) for i in steps] for j in steps])
    spread = sweep_spread(rig)
    assert spread.across_s == pytest.approx(np.ptp(traced), rel=0.01, abs=5e-6)
    assert spread.after_offset_s == pytest.approx(np.ptp(traced) / 2, rel=0.01, abs=5e-6)
    assert spread.corner_s == pytest.approx(np.abs(traced).max(), rel=0.01, abs=5e-6)
    found = skew_map(rig, 25, 25).skew_s
    assert found == pytest.approx(traced, abs=3e-5)  # as calibrate sets it: right in frame centre
    assert spread.centre_shift_s == pytest.approx(-(traced.max() + traced.min()) / 2, abs=2e-5)
    weights = np.outer(*(np.where(np.abs(steps) == 1, 0.5, 1.0),) * 2)
    rms = np.sqrt(np.average((traced - (traced.max() + traced.min()) / 2) ** 2, weights=weights))
    assert spread.rms_s == pytest.approx(rms, rel=0.02, abs=5e-6)


@pytest.mark.parametrize(("looks", "seed"), [*product([*LENS_POINTS][1:], range(4))])
def test_a_scan_set_right_as_advised_shows_the_scene(looks: str, seed: int) -> None:
    """The picture as the body's finder shows it, turned and flipped as told, against what was in the scene."""
    rig = rig_with({"bodies.b.mount": {"looks": looks, "top_plate": TOPS[looks][seed]}})
    body = rig.bodies.b
    for one in (body, rig.bodies.a):
        size = 5
        scene = np.arange(size * size).reshape(size, size)  # rows from the top down, columns to the right
        finder = np.zeros_like(scene)
        for row, column in np.ndindex(size, size):
            x, z = (column - 2) * 0.05, (2 - row) * 0.05
            to_right, to_top = image_on_film(one, np.array([x, 1.0, z]) * 5000)
            unit = 0.05 * one.lens.focal_length_m
            # The lens turns the picture on film by half a turn; the finder shows it turned back.
            finder[2 - round(-to_top / unit), 2 + round(-to_right / unit)] = scene[row, column]
        words = scan_words(view_of(one))
        for step in words.split(", then "):
            finder = {
                "nothing": lambda picture: picture,
                "turn it by half a turn": lambda picture: np.rot90(picture, 2),
                "turn it a quarter to the left": lambda picture: np.rot90(picture, 1),
                "turn it a quarter to the right": lambda picture: np.rot90(picture, -1),
                "flip it left to right": np.fliplr,
                "flip it top to bottom": np.flipud,
            }[step](finder)
        assert (finder == scene).all(), words


def constant_speed(**more: Any) -> dict[str, Any]:
    sweeps = {"a": more.pop("sweep_a", "top to bottom"), "b": more.pop("sweep_b", "top to bottom")}
    changes: dict[str, Any] = {"bodies.a.shutter.travel": "3.25 ms", "bodies.b.shutter.travel": "2.85 ms"}
    for letter, sweep in sweeps.items():
        changes |= {f"bodies.{letter}.shutter.curve": 0.5, f"bodies.{letter}.shutter.sweep": sweep}
    return changes | {key.replace("__", "."): value for key, value in more.items()}


def test_looking_up_with_vertical_curtains_the_top_plate_decides() -> None:
    """Worked by hand: sweeps together leave |tB - tA|, against each other tA + tB."""
    towards = rig_with(constant_speed())
    away = rig_with(constant_speed() | {"bodies.b.mount.top_plate": "towards the photographer"})
    assert sweep_spread(towards).across_s == pytest.approx(0.0004)
    assert sweep_spread(towards).relation == "together"
    assert sweep_spread(away).across_s == pytest.approx(0.0061)
    assert sweep_spread(away).relation == "against each other"
    told = advice(away)
    assert told is not None
    assert "Mount B with the top plate towards the scene: 6.1 ms across the frame becomes 0.4 ms." in told.say
    assert "flip it left to right" in told.say
    assert advice(towards) is None


def test_looking_up_with_horizontal_curtains_it_is_the_other_way_round() -> None:
    horizontal = {"sweep_a": "left to right", "sweep_b": "left to right"}
    towards = rig_with(constant_speed(**horizontal))
    assert sweep_spread(towards).across_s == pytest.approx(0.0061)
    told = advice(towards)
    assert told is not None
    assert told.mount.top_plate == "towards the photographer"
    assert told.across_then_s == pytest.approx(0.0004)


def test_looking_down_the_top_plate_that_keeps_the_vertical_is_the_other_one() -> None:
    down = {"looks": "down at the glass", "top_plate": "towards the photographer"}
    rig = rig_with(constant_speed() | {"bodies.b.mount": down})
    assert view_of(rig.bodies.b).mirrored == "left-right"
    assert sweep_spread(rig).across_s == pytest.approx(0.0004)
    down = {"looks": "down at the glass", "top_plate": "towards the scene"}
    told = advice(rig_with(constant_speed() | {"bodies.b.mount": down}))
    assert told is not None
    assert told.mount.top_plate == "towards the photographer"
    assert not told.moves


def test_crossed_sweeps_span_the_sum_with_a_smaller_root_mean_square() -> None:
    crossed = sweep_spread(rig_with(constant_speed(sweep_a="left to right")))
    against = sweep_spread(
        rig_with(constant_speed() | {"bodies.b.mount.top_plate": "towards the photographer"})
    )
    assert crossed.across_s == pytest.approx(0.0061)
    assert crossed.relation == "across each other"
    # Uniform over the frame: each term has the variance travel**2 / 12.
    assert crossed.rms_s == pytest.approx(np.sqrt((0.00325**2 + 0.00285**2) / 12), rel=1e-3)
    assert against.rms_s == pytest.approx(0.0061 / np.sqrt(12), rel=1e-3)


def test_leaf_shutters_have_no_sweep() -> None:
    both = sweep_spread(rig_with({"bodies.a.shutter": LEAF, "bodies.b.shutter": LEAF}))
    assert (both.across_s, both.relation) == (0.0, "no sweep")
    one = sweep_spread(rig_with(constant_speed() | {"bodies.a.shutter": LEAF}))
    assert one.across_s == pytest.approx(0.00285)
    assert one.relation == "one body only"
    assert (
        scene_sweep_words(view_of(rig_with({"bodies.a.shutter": LEAF}).bodies.a)) == "the whole frame at once"
    )


def test_the_lens_inverts_the_sweep() -> None:
    rig = rig_with(constant_speed())
    assert scene_sweep_words(view_of(rig.bodies.a)) == "bottom to top in the scene"


def test_every_other_mount_is_tried_and_none_that_narrows_the_field() -> None:
    found = turnings(rig_with(constant_speed()))
    assert {one.body for one in found} == {0, 1}
    assert len(found) == 1 + 7  # A upside down; B: two landscape mounts on each of four sides, less its own
    assert [one.across_then_s for one in found] == sorted(one.across_then_s for one in found)


def test_side_by_side_without_glass() -> None:
    rig = rig_with(
        constant_speed() | {"splitter": REMOVE, "bodies.b.mount": {"looks": "straight", "top_plate": "down"}}
    )
    assert sweep_spread(rig).across_s == pytest.approx(0.0061)
    told = advice(rig)
    assert told is not None
    assert told.body in (0, 1)
    assert told.across_then_s == pytest.approx(0.0004)
