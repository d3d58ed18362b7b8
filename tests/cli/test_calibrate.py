"""Calibrating on the simulated box from the command line: the end state a practitioner sees."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from coincide.bench import calibration
from coincide.bench import firing as firing_room
from coincide.rig.calibration import calibrations_beside
from coincide.session.file import read_session
from tests.cli.running import Ran, run


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    assert run(["rig", "new"], tmp_path).code == 0
    return tmp_path


def test_demo_says_who_is_late_what_to_set_and_what_came_of_it(tmp_path: Path) -> None:
    ran = run(["demo"], tmp_path)
    assert ran.code == 0
    assert re.search(r"Bittern \(B\) exposes [\d.]+ ms .* after Lapwing \(A\)", ran.out)
    assert re.search(r"Delay Lapwing \(A\) by [\d.]+ ms", ran.out)
    assert "Predicted:" in ran.out
    assert "obtained:" in ran.out
    assert "invented" in ran.out
    written = [
        Path(line.strip()) for line in ran.out.split("Wrote:")[1].splitlines() if line.startswith("  ")
    ]
    assert {path.suffix for path in written} >= {".toml", ".jsonl", ".png", ".html"}
    for path in written:
        assert (tmp_path / path).stat().st_size > 0

    # Again: never over the earlier one, and the same day played again gives the same four pictures.
    (tmp_path / "coincide-demo" / "rig.toml").write_text("mine")
    assert run(["demo"], tmp_path).code == 0
    assert (tmp_path / "coincide-demo" / "rig.toml").read_text() == "mine"
    pictures = [
        {path.name.split("-series-")[1]: path.read_bytes() for path in (tmp_path / demo).glob("**/*.png")}
        for demo in ("coincide-demo", "coincide-demo-2")
    ]
    assert len(pictures[0]) == 4
    assert pictures[0] == pictures[1]


def test_a_calibration_is_kept_with_its_verification(rig: Path) -> None:
    ran = run(["calibrate", "-n", "20", "--verify", "12", "--json"], rig)
    assert ran.code == 0, ran.said
    result = json.loads(ran.out)
    (found,), complaints = calibrations_beside(rig / "rig.toml")
    assert not complaints
    kept = found.calibration
    assert kept.offset_s == pytest.approx(result["measured"]["offset"]["offset_s"])
    assert kept.verification is not None
    assert kept.verification.passed
    assert kept.sessions == tuple(Path(result[key]["session"]).name for key in ("measured", "fresh"))
    for name in kept.sessions:
        assert len(read_session(rig / "simulated" / "sessions" / name).shot)


@pytest.mark.parametrize(
    ("world", "names", "tries"),
    [
        ("swapped releases", "releases of A and B are swapped", "swap them back"),
        ("swapped sync", "sync leads of A and B are swapped", "swap them back"),
        ("stops after shot 7", "body B (Bittern)", "check battery"),
        ("stops at once", "body A (Lapwing) did not answer", "wound"),
        ("interlock opens", "interlock was opened", "close it"),
        ("interlock open", "interlock is open", "close it"),
    ],
)
def test_a_fault_ends_in_a_sentence_with_everything_kept(
    rig: Path, world: str, names: str, tries: str
) -> None:
    ran = run(["calibrate", "-n", "12", "--verify", "10", "--world", world], rig)
    assert ran.code == 1
    assert names in ran.said
    assert tries in ran.said
    assert not calibrations_beside(rig / "rig.toml")[0]
    kept = sorted((rig / "simulated" / "sessions").glob("*.jsonl"))
    assert kept
    for path in kept:
        read_session(path)


@pytest.mark.parametrize("world", ["missed fires", "extra trigger", "bouncing contacts", "forgot to wind"])
def test_a_fault_that_leaves_enough_pairs_does_not_stop_it(rig: Path, world: str) -> None:
    ran = run(["series", "-n", "20", "--world", world], rig)
    assert ran.code == 0, ran.said
    assert "Delay Lapwing (A)" in ran.out


def test_a_series_goes_on_in_the_same_file(rig: Path) -> None:
    first = run(["series", "-n", "8", "--out", "s.jsonl"], rig)
    assert first.code == 0
    assert run(["series", "-n", "12", "--out", "s.jsonl"], rig).code == 0
    assert read_session(rig / "s.jsonl").shot.tolist() == list(range(1, 13))


def test_watching_gives_skew_without_lag(rig: Path) -> None:
    ran = run(["watch", "-n", "15", "--json"], rig)
    assert ran.code == 0, ran.said
    result = json.loads(ran.out)
    assert len(result["pairs"]["skew_s"]) == 15
    assert all(lag is None for lag in result["pairs"]["lag_a_s"])
    assert sum(skew is not None for skew in result["pairs"]["skew_s"]) >= 14


def test_a_comparison_shows_what_the_half_press_did(rig: Path) -> None:
    """Bodies that are not awake at full-press answer later: the simulated ones by 150 ms of waiting and 40 more."""
    assert run(["series", "-n", "20", "--out", "one.jsonl"], rig).code == 0
    again = run(["series", "-n", "20", "--out", "again.jsonl", "--seed", "2", "--compare", "one.jsonl"], rig)
    assert "The skew did not move that can be shown" in again.out
    text = (rig / "rig.toml").read_text()
    (rig / "rig.toml").write_text(text.replace('lead = "300 ms"', 'lead = "0 ms"'))
    ran = run(["series", "-n", "20", "--out", "two.jsonl", "--compare", "one.jsonl", "--json"], rig)
    compared = json.loads(ran.out)["compared"]
    for body in ("lag_a", "lag_b"):
        # A body that polls may lose its wait for the next look, 0.75 ms on average.
        low, high = compared[body]["shift_interval_s"]
        assert 0.188 < low < compared[body]["shift_s"] < high < 0.192


def test_no_more_pairs_than_the_tolerance_asks_for(rig: Path) -> None:
    ran = run(["calibrate", "-n", "60", "--verify", "12", "--enough", "--json"], rig)
    assert ran.code == 0, ran.said
    assert "at most 73 releases of each body" in ran.err
    measured = json.loads(ran.out)["measured"]
    fired, (low, high) = len(measured["pairs"]["number"]), measured["offset"]["interval_s"]
    assert 15 <= fired < 60
    assert high - low < measured["tolerance_s"] / 4


def test_the_second_of_two_calibrations_in_one_folder_does_not_take_the_first_for_broken_off(
    rig: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While one calibration is about to verify, another of the same rig is begun and ended in the same folder; then a
    third is broken off there, which the next run is told of."""
    command = ["calibrate", "-n", "12", "--verify", "10", "--yes"]
    real = firing_room.fire
    others: list[Ran] = []
    begun: list[Path] = []

    def fire(bench: Any, path: Path, firing: Any, *rest: Any) -> Any:
        if firing.purpose == "verify" and not begun:
            begun.append(path)
            others.append(run(command, rig))
        return real(bench, path, firing, *rest)

    monkeypatch.setattr(calibration, "fire", fire)
    first = run(command, rig)
    (second,) = others
    for ran in (first, second):
        assert "broken off" not in ran.said, ran.said
        assert "goes on from there" not in ran.said
    assert "Another calibrate at" in second.said
    assert "files of its own" in second.said
    kept = [found.calibration.sessions for found in calibrations_beside(rig / "rig.toml")[0]]
    assert len(kept) == 2
    assert not set(kept[0]) & set(kept[1])

    def broken(bench: Any, path: Path, firing: Any, *rest: Any) -> Any:
        if firing.purpose == "verify":
            raise KeyboardInterrupt
        return real(bench, path, firing, *rest)

    monkeypatch.setattr(calibration, "fire", broken)
    assert run(command, rig).code != 0
    monkeypatch.setattr(calibration, "fire", real)
    again = run(command, rig)
    assert "12 of 12 pairs measured" in again.said
    assert "It goes on from there" in again.said
    assert len(calibrations_beside(rig / "rig.toml")[0]) == 3
    assert not list(rig.glob("**/*.lock")) + list(rig.glob("**/.*.lock"))
