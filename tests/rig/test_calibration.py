"""Calibrations: kept for good, found again by pair, and told stale when what they rest on has changed."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coincide.errors import BadInput
from coincide.rig.calibration import (
    Calibration,
    Learned,
    Verification,
    calibration_toml,
    calibrations_beside,
    learned_for,
    newest_for,
    parse_calibration,
    read_calibration,
    save_calibration,
    stale_reasons,
    timing_keys,
)
from coincide.rig.new import write_new
from tests.rig.rigs import LEAF, rig_with

RIG = rig_with()
LATER = "2031-05-05T06:12:00+00:00"
CALIBRATION = Calibration(
    created="2031-05-04T06:12:00+00:00",
    rig_name=RIG.name,
    exposures=RIG.exposures,
    apertures=(8.0, 4.0),
    offset_s=-0.0182,
    interval_s=(-0.0185, -0.0179),
    jitter_s=0.0011,
    expected_keepers=0.97,
    tolerance_s=0.0031,
    shots=40,
    how="gate+sync",
    sessions=("fen-1.jsonl", "fen-2.jsonl"),
    box="e6614c",
    verification=Verification(20, 19, 0.0001, (-0.0004, 0.0006), 0.001, (0.764, 0.991), True),
    learned=(Learned(0, "1/60", -0.003, 1e-5, 0.0155, 2e-5),),
    rig=timing_keys(RIG),
)


def test_what_is_kept_is_what_is_found(tmp_path: Path) -> None:
    rig_path = write_new(tmp_path / "fen.toml")
    path = save_calibration(rig_path, CALIBRATION)
    assert path.parent == tmp_path
    assert path.name == "fen-calibration-20310504-061200-1-60+1-30.toml"
    earlier = path.rename(
        tmp_path / "fen-calibration-20310504-061200-1_60+1_30.toml"
    )  # as the first version wrote it
    assert [one.path for one in calibrations_beside(rig_path)[0]] == [earlier]
    path = earlier
    assert read_calibration(path) == CALIBRATION
    text = path.read_text(encoding="utf-8")
    assert "delay body B by 18.20 ms" in text
    assert CALIBRATION.preset == "1/60+1/30"


def test_without_verification_and_learning() -> None:
    bare = replace(CALIBRATION, verification=None, learned=(), rig={})
    assert parse_calibration(calibration_toml(bare)) == bare


def test_nothing_is_ever_overwritten(tmp_path: Path) -> None:
    rig_path = write_new(tmp_path / "fen.toml")
    paths = {
        save_calibration(rig_path, replace(CALIBRATION, offset_s=offset)) for offset in (0.001, 0.002, 0.003)
    }
    assert len(paths) == 3
    assert {read_calibration(path).offset_s for path in paths} == {0.001, 0.002, 0.003}


def test_the_newest_of_the_pair_is_found(tmp_path: Path) -> None:
    rig_path = write_new(tmp_path / "fen.toml")
    for offset, created, exposures in (
        (0.001, CALIBRATION.created, ("1/60", "1/30")),
        (0.002, LATER, ("1/60", "1/30")),
        (0.003, "2031-06-01T06:12:00+00:00", ("1/125", "1/30")),
    ):
        save_calibration(
            rig_path, replace(CALIBRATION, offset_s=offset, created=created, exposures=exposures)
        )
    (tmp_path / "other-calibration-20310504-061200-1_60+1_30.toml").write_text("not of this rig")
    (tmp_path / "fen-calibration-damaged.toml").write_text("format = 3")
    found, complaints = calibrations_beside(rig_path)
    assert [one.calibration.offset_s for one in found] == [0.003, 0.002, 0.001]
    assert len(complaints) == 1
    assert "fen-calibration-damaged.toml is not a calibration file" in complaints[0]
    newest = newest_for(found, RIG)
    assert newest is not None
    assert newest.calibration.offset_s == 0.002
    assert newest_for(found, rig_with({"bodies.a.shutter.exposure": "1/30"})) is None


def test_one_made_with_the_clock_set_back_is_still_the_newest(tmp_path: Path) -> None:
    rig_path = write_new(tmp_path / "fen.toml")
    first = save_calibration(rig_path, replace(CALIBRATION, offset_s=0.001, created=LATER))
    before = first.read_bytes()
    # Set back a day, then by years, then right again, then twice in one second.
    for offset, created in (
        (0.002, CALIBRATION.created),
        (0.003, "1970-01-01T00:00:10+00:00"),
        (0.004, "2031-05-05T09:00:00+02:00"),
        (0.005, "2031-05-05T09:00:00+02:00"),
    ):
        path = save_calibration(rig_path, replace(CALIBRATION, offset_s=offset, created=created))
        assert read_calibration(path).created == created
        found, complaints = calibrations_beside(rig_path)
        assert not complaints
        newest = newest_for(found, RIG)
        assert newest is not None
        assert newest.calibration.offset_s == offset
        assert newest.path == path
    assert [one.calibration.offset_s for one in found] == [0.005, 0.004, 0.003, 0.002, 0.001]
    assert first.read_bytes() == before


def test_the_aperture_belongs_to_the_pair_for_leaf_shutters_only(tmp_path: Path) -> None:
    rig_path = write_new(tmp_path / "fen.toml")
    save_calibration(rig_path, replace(CALIBRATION, exposures=("1/125", "1/30")))
    found, _ = calibrations_beside(rig_path)
    leaf = {"bodies.a.shutter": LEAF}
    assert newest_for(found, rig_with(leaf)) is not None
    stopped = rig_with(leaf | {"bodies.a.lens.aperture": "f/16"})
    assert newest_for(found, stopped) is None
    assert any("lens.aperture was f/8" in reason for reason in stale_reasons(CALIBRATION, stopped))
    focal_plane = rig_with({"bodies.a.shutter.exposure": "1/125", "bodies.a.lens.aperture": "f/16"})
    assert newest_for(found, focal_plane) is not None


def test_what_was_changed_since_is_said() -> None:
    assert stale_reasons(CALIBRATION, RIG, "e6614c") == ()
    assert stale_reasons(CALIBRATION, rig_with({"bodies.a.lens.aperture": "f/16", "name": "other"})) == ()
    changed = rig_with({"bodies.b.release": "full", "release.lead": "0 ms"})
    reasons = stale_reasons(CALIBRATION, changed, "ffff")
    assert any(
        "bodies.b.release was 'half+full' when it was calibrated and is 'full' now" in one for one in reasons
    )
    assert any("release.lead was '0.3 s'" in one for one in reasons)
    assert any("e6614c" in one and "ffff" in one for one in reasons)
    assert any(
        "bodies.a.shutter.travel" in one
        for one in stale_reasons(CALIBRATION, rig_with({"bodies.a.shutter": LEAF}))
    )


def test_what_gate_sensors_taught_serves_every_marked_speed(tmp_path: Path) -> None:
    rig_path = write_new(tmp_path / "fen.toml")
    save_calibration(rig_path, CALIBRATION)
    newer = Learned(0, "1/125", -0.0031, 1e-5, 0.0079, 2e-5, 0.0072, 1e-5)
    save_calibration(
        rig_path, replace(CALIBRATION, created=LATER, exposures=("1/125", "1/30"), learned=(newer,))
    )
    found, _ = calibrations_beside(rig_path)
    known = learned_for(found, RIG, 0)
    assert known == Learned(0, "1/60", -0.0031, 1e-5, 0.0155, 2e-5, 0.0072, 1e-5)
    unmeasured = learned_for(found, rig_with({"bodies.a.shutter.exposure": "1/30"}), 0)
    assert unmeasured is not None
    assert unmeasured.exposure_s is None
    assert unmeasured.sync_to_open_s == -0.0031
    assert learned_for(found, RIG, 1) is None


@pytest.mark.parametrize(
    "change", [{"bodies.a.sync": "M"}, {"bodies.a.shutter": LEAF}, {"bodies.a.name": "Plover"}]
)
def test_another_contact_shutter_or_body_knows_nothing_of_it(
    tmp_path: Path, change: dict[str, object]
) -> None:
    rig_path = write_new(tmp_path / "fen.toml")
    save_calibration(rig_path, CALIBRATION)
    found, _ = calibrations_beside(rig_path)
    assert learned_for(found, rig_with(change), 0) is None


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("shots = 40", 'shots = "many"', "shots"),
        ("offset_s = -0.0182", "offset_s = nan", "offset_s"),
        ("shots = 40", "", "shots"),
        ("shots = 40", "shots = 40\nshoots = 3", "shoots"),
        ("interval_s = [-0.0185, -0.0179]", "interval_s = [1]", "interval_s"),
        ("2031-05-04T06:12:00+00:00", "yesterday", "created"),
        ("2031-05-04T06:12:00+00:00", "2031-05-04T06:12:00", "created"),
        ("2031-05-04T06:12:00+00:00", "9999-12-31T23:59:59+00:00", "created"),
        ("shots = 40", 'shots = 40\nranked_as = "later"', "ranked_as"),
        ("version = 1", "version = 2", "later coincide"),
        ("coincide-calibration", "coincide-rig", "is not a calibration file"),
        ("format", "[", "is not TOML"),
    ],
)
def test_a_damaged_calibration_is_named(tmp_path: Path, old: str, new: str, says: str) -> None:
    text = calibration_toml(CALIBRATION)
    assert old in text
    path = tmp_path / "c.toml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadInput) as refusal:
        read_calibration(path)
    message = str(refusal.value)
    assert str(path) in message
    assert says in message
    assert "\n" not in message


@pytest.mark.parametrize(
    ("key", "change"),
    [
        ("jitter_s", {"jitter_s": 1e308}),
        ("jitter_s", {"jitter_s": -1e-3}),
        ("shots", {"shots": -5}),
        ("shots", {"shots": 10**9}),
        ("expected_keepers", {"expected_keepers": 7.0}),
        ("offset_s", {"offset_s": 1e6}),
        ("tolerance_s", {"tolerance_s": -1.0}),
        ("interval_s", {"interval_s": (-1e300, 0.0)}),
        (
            "verification.keepers",
            {"verification": Verification(20, 21, 0.0, (0.0, 0.0), 1e-3, (0.7, 0.9), True)},
        ),
        ("learned.exposure_u_s", {"learned": (Learned(0, "1/60", exposure_s=0.01, exposure_u_s=-1e-5),)}),
    ],
)
def test_numbers_that_no_calibration_can_have_are_refused_by_name(
    key: str, change: dict[str, object]
) -> None:
    text = calibration_toml(replace(CALIBRATION, **change))  # type: ignore[arg-type]
    with pytest.raises(BadInput, match=f"{key} is out of all bounds"):
        parse_calibration(text)


def test_a_calibration_beside_nothing_cannot_be_kept(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="cannot be written"):
        save_calibration(tmp_path / "nowhere" / "fen.toml", CALIBRATION)
