"""The advice carried out: a rig traced ray by ray is set right by what its own two pictures tell.

Judge: the tracer (`traced`, no formula shared), and scikit-image's phase correlation for what is left afterwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest
from skimage.registration import phase_cross_correlation

from coincide.errors import BadInput
from coincide.ghost.mount.error import MountError, NearThing, Quantity, mount_error
from coincide.report.words.mount import mount_lines, mount_rows
from coincide.rig.model import Rig
from coincide.scans.files.scan import Scan
from coincide.scans.pair import Compared, compare_scans
from tests.ghost.mount.traced import GLASS_AT_M, Board, Camera, far_photograph, picture, turned_by_hand
from tests.rig.rigs import rig_with

Floats = npt.NDArray[np.float64]

WIDTH, HEIGHT = 600, 400
PITCH_M = 36e-3 / WIDTH
DPI = 25.4e-3 / PITCH_M
RIGHT, SCENE, UP = np.eye(3)
# How body B sits: where its lens and its top plate point.
MOUNTS = {
    ("up at the glass", "towards the scene"): (UP, SCENE),
    ("up at the glass", "towards the photographer"): (UP, -SCENE),
    ("down at the glass", "towards the photographer"): (-UP, -SCENE),
    ("from the right", "up"): (-RIGHT, UP),
    ("from the left", "up"): (RIGHT, UP),
}
SET = [0.011, -0.006, 0.015]


@dataclass(frozen=True)
class World:
    rig: Rig
    a: Camera
    b: Camera


def world(looks: str, top_plate: str) -> World:
    """A looks straight, B into the glass from where its pupil is A's mirror image."""
    lens, top = MOUNTS[looks, top_plate]
    normal = (lens - SCENE) / math.sqrt(2)
    on_glass = GLASS_AT_M * SCENE
    pupil = 2 * (on_glass @ normal) * normal
    a = Camera(np.zeros(3), RIGHT, UP, SCENE, 35e-3, PITCH_M, (WIDTH, HEIGHT))
    b = replace(a, pupil_m=pupil, right=np.cross(lens, top), top=top, lens=lens, mirror=normal)
    changes = {f"bodies.{letter}.lens.focused": "100 km" for letter in "ab"}
    changes |= {f"bodies.{letter}.scan": f"{DPI} dpi" for letter in "ab"}
    changes |= {"bodies.b.mount.looks": looks, "bodies.b.mount.top_plate": top_plate}
    return World(rig_with(changes), a, b)


@cache
def far() -> Floats:
    return far_photograph("coffee")


def scans(a: Floats, b: Floats) -> Compared:
    return compare_scans(Scan("a.tif", a.astype(np.float32)), Scan("b.tif", b.astype(np.float32)))


@cache
def seen(looks: str, top_plate: str, *, set_wrong: bool) -> Compared:
    """The pair that the world shows, its body B turned by SET or as it should be."""
    one = world(looks, top_plate)
    b = turned_by_hand(one.b, *SET) if set_wrong else one.b
    return scans(picture(one.a, far(), []), picture(b, far(), []))


def corrected(camera: Camera, found: MountError) -> Camera:
    turn = found.turn
    return turned_by_hand(camera, turn.pan_left.value, turn.tilt_up.value, turn.roll_clockwise.value)


EVERY_RUN = (("up at the glass", "towards the scene"), ("from the right", "up"))


@pytest.mark.parametrize(
    ("looks", "top_plate"),
    [pytest.param(*sits, marks=[] if sits in EVERY_RUN else [pytest.mark.soak]) for sits in MOUNTS],
)
def test_carried_out_the_advice_leaves_less_than_a_pixel_far_away(looks: str, top_plate: str) -> None:
    one = world(looks, top_plate)
    wrong = turned_by_hand(one.b, *SET)
    right = picture(one.b, far(), [])
    found = mount_error(seen(looks, top_plate, set_wrong=True), one.rig)
    assert found.sides.sure
    after = picture(corrected(wrong, found), far(), [])
    for rows in (slice(0, HEIGHT // 2), slice(HEIGHT // 2, None)):
        for columns in (slice(0, WIDTH // 2), slice(WIDTH // 2, None)):
            shift, *_ = phase_cross_correlation(
                right[rows, columns], after[rows, columns], upsample_factor=50
            )
            assert np.linalg.norm(shift) < 1.0
    for told, put_in in zip(
        (found.turn.pan_left, found.turn.tilt_up, found.turn.roll_clockwise), SET, strict=True
    ):
        assert told.value == pytest.approx(-put_in, abs=2 * told.u)
    assert not found.scale.told


def test_a_careless_crop_does_no_harm_where_the_gate_shows() -> None:
    """The same pictures with their gates about them, in scans cut otherwise on every side."""
    looks, top_plate = EVERY_RUN[0]
    one = world(looks, top_plate)
    cut = seen(looks, top_plate, set_wrong=True)
    a = np.pad(cut.a.grey.astype(float), ((34, 8), (6, 30)), constant_values=0.0)
    b = np.pad(cut.b.grey.astype(float), ((8, 28), (36, 10)), constant_values=0.0)
    bare, framed = mount_error(cut, one.rig), mount_error(scans(a, b), one.rig)
    assert framed.gate_shows == (True, True)
    assert framed.gate_u_m[0] < 1.5 * bare.gate_u_m[0]
    # 12 pixels of careless crop would be 20 mrad.
    for way in ("pan_left", "tilt_up", "roll_clockwise"):
        off = getattr(framed.turn, way).value - getattr(bare.turn, way).value
        assert abs(off) < 1e-3, way


def test_repeated_after_the_turn_it_says_that_nothing_is_left() -> None:
    one = world("up at the glass", "towards the scene")
    found = mount_error(seen("up at the glass", "towards the scene", set_wrong=False), one.rig)
    assert "nothing to turn" in mount_lines(found, one.rig)[0]
    assert found.far_rms_px < 0.3


def test_the_pupils_offset_is_told_by_things_near_by() -> None:
    one = world("up at the glass", "towards the scene")
    boards = [
        Board(np.array([0.35, 2.5, -0.1]), 0.5, "gravel"),
        Board(np.array([-0.8, 3.0, 0.5]), 0.6, "grass"),
    ]
    off_m = np.array([0.004, 0.003, -0.002])
    b = turned_by_hand(replace(one.b, pupil_m=one.b.pupil_m + off_m), *SET)
    compared = scans(picture(one.a, far(), boards), picture(b, far(), boards))
    near = [NearThing(_place(board), float(board.centre_m[1])) for board in boards]
    found = mount_error(compared, one.rig, near)
    for told, put_in in zip(
        (found.turn.left_m, found.turn.towards_m, found.turn.up_m), off_m * [1, -1, -1], strict=True
    ):
        assert told is not None
        assert told.value == pytest.approx(put_in, abs=2.5 * told.u)
        assert told.u < 1e-3
    assert "carry it 4" in mount_lines(found, one.rig)[0]


def _place(board: Board) -> tuple[float, float]:
    x, y, z = board.centre_m
    return (WIDTH - 1) / 2 + x / y * 35e-3 / PITCH_M, (HEIGHT - 1) / 2 - z / y * 35e-3 / PITCH_M


def test_a_longer_lens_is_told_by_its_scale() -> None:
    one = world("from the right", "up")
    longer = replace(one.b, image_m=35.5e-3)
    found = mount_error(scans(picture(one.a, far(), []), picture(longer, far(), [])), one.rig)
    assert found.focal_length_m.value == pytest.approx(35.5e-3, abs=2 * found.focal_length_m.u)
    # b = f (1 + m), m = f / (D - f): 35.5 mm behind a 35 mm lens is focused at 35 * 35.5 / 0.5 mm = 2.485 m.
    assert found.focused_m == pytest.approx(2.485, rel=0.15)
    assert any("larger than the rig file gives" in line for line in mount_lines(found, one.rig))


def test_turns_of_a_screw_follow_its_pitch_and_arm() -> None:
    one = world("up at the glass", "towards the scene")
    rig = one.rig
    screws = type(rig.bodies.b.mount.screws).model_validate({"pan": {"pitch": "0.5 mm", "arm": "50 mm"}})
    mount = rig.bodies.b.mount.model_copy(update={"screws": screws})
    bodies = rig.bodies.model_copy(update={"b": rig.bodies.b.model_copy(update={"mount": mount})})
    rig = rig.model_copy(update={"bodies": bodies})
    found = mount_error(seen("up at the glass", "towards the scene", set_wrong=True), rig)
    # 0.011 rad over an arm of 50 mm is 0.55 mm, 1.1 turns of half a millimetre.
    assert float(mount_rows(found, rig)[0][3]) == pytest.approx(1.1, abs=0.02)


@pytest.mark.parametrize("pairs", [2, pytest.param(20, marks=pytest.mark.soak)])
def test_the_intervals_hold_where_film_wanders_in_its_gate(pairs: int) -> None:
    rng = np.random.default_rng(4)
    one = world("up at the glass", "towards the scene")
    held = []
    for _ in range(pairs):
        put_in = rng.normal(0, 0.008, 3)
        shown = []
        for camera in (one.a, turned_by_hand(one.b, *put_in)):
            wander_px = rng.normal(0, 0.1e-3, 2) / PITCH_M
            angle = rng.normal(0, 0.1e-3 / 36e-3)
            moved = camera.turned(camera.lens, angle)
            shown.append(np.roll(picture(moved, far(), []), np.round(wander_px).astype(int), (0, 1)))
        turn = mount_error(scans(shown[0], shown[1]), one.rig).turn
        for told, truth in zip((turn.pan_left, turn.tilt_up, turn.roll_clockwise), put_in, strict=True):
            held.append(abs(told.value + truth) < 2 * told.u)
    assert (
        np.mean(held) > 0.8
    )  # 95 % stated: one of 6 tries may fail, and 60 tries keep over 0.8 all but certainly


def test_a_place_without_texture_is_refused() -> None:
    one = world("up at the glass", "towards the scene")
    compared = seen("up at the glass", "towards the scene", set_wrong=False)
    with pytest.raises(BadInput, match="nothing was recognised"):
        mount_error(compared, one.rig, [NearThing((-4000.0, -4000.0), 3.0)])


def test_without_a_resolution_it_asks_for_one() -> None:
    one = world("up at the glass", "towards the scene")
    body = one.rig.bodies.b.model_copy(update={"scan_pitch_m": None})
    rig = one.rig.model_copy(update={"bodies": one.rig.bodies.model_copy(update={"b": body})})
    compared = seen("up at the glass", "towards the scene", set_wrong=False)
    with pytest.raises(BadInput, match=r"bodies\.b\.scan"):
        mount_error(compared, rig)


def test_told_means_beyond_twice_its_uncertainty() -> None:
    assert Quantity(0.021, 0.01).told
    assert not Quantity(0.019, 0.01).told
