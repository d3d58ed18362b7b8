"""`coincide` alone says what to do next."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from coincide.report.words.next_step import next_step
from tests.cli.fen import fen_rig
from tests.cli.running import run


def test_an_empty_folder(tmp_path: Path) -> None:
    ran = run([], tmp_path)
    assert ran.code == 0
    assert "coincide demo" in ran.out
    assert "coincide rig new" in ran.out


def test_a_rig_and_no_calibration(tmp_path: Path) -> None:
    run(["rig", "new"], tmp_path)
    assert "has no calibration for 1/60 (A) and 1/30 (B)" in run([], tmp_path).out


def test_a_rig_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text("format = 3")
    ran = run([], tmp_path)
    assert ran.code == 0
    assert "coincide rig check rig.toml" in ran.out


def as_measured(folder: Path) -> None:
    """What the simulated box showed, as if a real one had."""
    for path in folder.rglob("*-calibration-*.toml"):
        text = re.sub(r'box = "sim-[^"]*"', 'box = "e6614c31"', path.read_text("utf-8"))
        path.unlink()
        (folder / path.name).write_text(text.replace("simulated = true\n", ""), "utf-8")


def test_what_was_only_simulated_is_said_first(tmp_path: Path) -> None:
    fen_rig(tmp_path)
    ran = run([], tmp_path)
    assert ran.out.startswith("Simulated: ")
    assert "Plug the box in, then: coincide calibrate" in ran.out


@pytest.mark.parametrize(
    ("later", "says"),
    [(timedelta(hours=2), "coincide limits"), (timedelta(days=90), "still holds: coincide ready")],
)
def test_a_calibration_young_and_old(tmp_path: Path, later: timedelta, says: str) -> None:
    rig_path = fen_rig(tmp_path)
    as_measured(tmp_path)
    newest = max(tmp_path.glob("*-calibration-*.toml")).read_text()
    created = newest.split('created = "')[1].split('"')[0]
    said = " ".join(next_step(rig_path, datetime.fromisoformat(created).astimezone(UTC) + later))
    assert says in said


def test_a_rig_changed_since(tmp_path: Path) -> None:
    run(["rig", "new"], tmp_path)
    assert run(["calibrate", "-n", "12", "--verify", "12"], tmp_path).code == 0
    as_measured(tmp_path)
    rig_path = tmp_path / "rig.toml"
    rig_path.write_text(rig_path.read_text().replace('travel = "7.2 ms"', 'travel = "9 ms"'))
    assert "Calibrate again: coincide calibrate" in run([], tmp_path).out
