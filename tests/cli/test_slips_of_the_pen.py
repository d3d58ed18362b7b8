"""What cannot be meant is asked about in a sentence, with exit code 2, before anything is reckoned."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from coincide.rig.optics.thin_lens import body_image_distance_m, depth_of_field_m, hyperfocal_m
from tests.cli.running import run
from tests.rig.rigs import rig_with, text_with


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "rig.toml").write_text(text_with({}))
    return tmp_path


@pytest.mark.parametrize(
    ("option", "value"),
    [
        ("--lens", "120 m"),
        ("--jitter", "1e-300 s"),
        ("--jitter", "1 hour"),
        ("--turning", "1e9 deg/s"),
        ("--keepers", "0.9 %"),
        ("--distance", "1e9 m"),
        ("--subject-speed", "1e9 m/s"),
    ],
)
def test_an_absurd_value_is_asked_about(folder: Path, option: str, value: str) -> None:
    given = () if option == "--jitter" else ("--jitter", "1 ms")
    ran = run(["limits", *given, option, value], folder)
    assert ran.code == 2, ran.said
    assert f"{option}: is '{value}' meant" in ran.said
    assert len(ran.said) < 300


def test_no_jitter_at_all_is_a_sensible_answer(folder: Path) -> None:
    ran = run(["limits", "--jitter", "0 s", "--distance", "200 m"], folder)
    assert ran.code == 0
    assert "no limit" in ran.out  # by the skew alone, any speed


def test_a_card_does_not_advise_what_it_will_not_take(folder: Path) -> None:
    for arguments in ((), ("--jitter", "1 ms")):
        ran = run(["card", *arguments], folder)
        assert ran.code == 2
        assert "calibrate" in ran.said
        assert "--jitter" not in ran.said


def test_focus_at_infinity() -> None:
    lens = rig_with({"bodies.a.lens.focused": "infinity"}).bodies.a.lens
    assert lens.focused_m == math.inf
    # At infinity the image distance is the focal length, and the depth of field begins at the hyperfocal distance
    # less a focal length: the limit of the thin-lens formula, checked at a distance that is only very large.
    assert (
        body_image_distance_m(rig_with({"bodies.a.lens.focused": "infinity"}).bodies.a, 3.0)
        == lens.focal_length_m
    )
    near_m, far_m = depth_of_field_m(0.035, 8.0, 30e-6, math.inf)
    assert near_m == pytest.approx(depth_of_field_m(0.035, 8.0, 30e-6, 1e9)[0], rel=1e-6)
    assert near_m == pytest.approx(hyperfocal_m(0.035, 8.0, 30e-6) - 0.035)
    assert far_m == math.inf
