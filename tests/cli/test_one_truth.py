"""Nothing invented passes for measured, and the box does in the field what was calibrated.

Every promise of one truth has its test through the installed command:

    what the box will do alone              here
    a plugged-in box used, invented apart   here; first lines and --json too
    a terminal's name never loosens         tests/wiring/test_command.py, wiring/check/test_terminal.py
    one verdict on a subject                test_planning.py (limits and budget), tests/report/card, test_calibrate.py
    unequal exposure and sweep as causes    test_ghost_causes.py
    series and fresh series exchanged       here
    a lead too short                        test_waking.py
    one miscounted lamp frame               test_lamps.py
    what to set, right for which light      test_planning.py
    everything runs at a desk, answer first test_desk.py, test_a_day_afield.py
    how many releases, enough is enough     test_calibrate.py
    unknown rig figures                     tests/rig (the rig file's own words)
    the card, the page on a telephone       tests/report/card, tests/report/page/test_browser.py
    persons' and boards' names off screens  test_desk.py
    slips of the pen                        test_slips_of_the_pen.py, test_as_people_write.py
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from coincide.bench.box_settings import Change, change_settings
from coincide.bench.calibration import calibrate
from coincide.bench.opening.box import Where, opened_box
from coincide.bench.person import Declined, Unattended
from coincide.box.cable import discover, ports
from coincide.box.cable.answers import BoxIdentity
from coincide.box.cable.client import BoxClient
from coincide.box.simulated.board import SimulatedBoard
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.rig.calibration import calibrations_beside
from coincide.rig.file import load_rig
from tests.bench.people import Helper
from tests.cli.running import run

UIDS = {"/dev/one": "e661000000000001", "/dev/other": "e661000000000002"}


@dataclass
class Listed:
    device: str
    description: str = "a board"
    vid: int | None = discover.MICROPYTHON_VID
    pid: int | None = discover.MICROPYTHON_PID
    serial_number: str | None = None


Plug = Callable[..., dict[str, SimulatedPort]]


@pytest.fixture
def plug(monkeypatch: pytest.MonkeyPatch, acknowledged: None) -> Plug:
    """Plugs boxes in that pass for real ones, each kept for as long as the test lasts."""

    def plugged(*names: str) -> dict[str, SimulatedPort]:
        boxes = {name: open_simulated("steady", seed=3 + at) for at, name in enumerate(names)}
        said = SimulatedBoard.identity

        def identity(board: SimulatedBoard) -> dict[str, object]:
            mine = [name for name, port in boxes.items() if port.world is board._world]
            return said(board) | ({"simulated": False, "uid": UIDS[mine[0]]} if mine else {})

        def ask(name: str) -> BoxIdentity:
            return BoxClient(boxes[name]).identity

        monkeypatch.setattr(SimulatedBoard, "identity", identity)
        monkeypatch.setattr(ports, "SerialPort", lambda name: boxes[name])
        found = discover.find_boxes
        monkeypatch.setattr(
            discover, "find_boxes", lambda: found(ports=lambda: [Listed(name) for name in names], ask=ask)
        )
        return boxes

    return plugged


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    assert run(["rig", "new"], tmp_path).code == 0
    rig = tmp_path / "rig.toml"
    rig.write_text(rig.read_text("utf-8").replace('"manual"', '"motor"'), "utf-8")
    return tmp_path


def test_a_box_that_is_plugged_in_is_used_and_said_first(folder: Path, plug: Plug) -> None:
    plug("/dev/one")
    ran = run(["series", "-n", "5", "--yes"], folder)
    assert ran.code == 0, ran.said
    assert ran.out.splitlines()[0].startswith("The box on ")
    assert list((folder / "sessions").glob("*-series.jsonl"))
    assert not (folder / "simulated").exists()
    # A world that is asked for is a simulated one all the same.
    assert run(["box", "settings", "--world", "steady"], folder).out.startswith("Simulated: ")


def test_of_two_boxes_the_one_the_rig_was_calibrated_with(folder: Path, plug: Plug) -> None:
    plug("/dev/one", "/dev/other")
    refused = run(["series", "-n", "5", "--yes"], folder)
    assert refused.code == 2
    assert "/dev/one or /dev/other" in refused.err
    person = Helper(answers=["/dev/other"])
    rig, path = load_rig(folder / "rig.toml"), folder / "rig.toml"
    with opened_box(rig, Where(), person, path) as box:
        assert box.identity.uid == UIDS["/dev/other"]
        assert calibrate(box, path, (20, 12), (), person).kept is not None
    with opened_box(rig, Where(), Unattended(), path) as box:
        assert box.identity.uid == UIDS["/dev/other"]


def test_a_simulated_calibration_is_apart_said_first_and_never_before_a_measured_one(
    folder: Path, plug: Plug
) -> None:
    simulated = run(["calibrate", "-n", "20", "--verify", "12"], folder)
    assert simulated.out.startswith("Simulated: ")
    assert not list(folder.glob("rig-calibration-*"))
    for command in (["limits"], ["budget"], ["exposure", "EV 12"], [], ["card", "--to", "card"], ["ready"]):
        assert run(command, folder).out.startswith("Simulated: "), command
        if command:
            assert json.loads(run([*command, "--json"], folder).out)["simulated"] is True, command
    plug("/dev/one")
    path = folder / "rig.toml"
    with opened_box(load_rig(path), Where(), Unattended(), path) as box:
        assert calibrate(box, path, (20, 12), (), Unattended()).kept is not None
    for again in range(2):
        # Measured first, and a later simulated one hides it no more.
        (one,) = calibrations_beside(path)[0]
        assert not one.simulated
        assert not run(["limits"], folder).out.startswith("Simulated: ")
        if again == 0:
            assert run(["calibrate", "-n", "20", "--verify", "12", "--world", "steady"], folder).code == 0


def test_ready_says_what_the_box_would_do_alone(folder: Path, plug: Plug) -> None:
    """Preset there and equal, or not ready (exit 1) with the command that mends it."""
    (port,) = plug("/dev/one").values()

    def judged() -> str:
        ran = run(["ready", "--yes"], folder)
        assert ran.code == (0 if "\nReady: " in ran.out else 1), ran.said
        return " ".join(ran.out.split())

    assert run(["calibrate", "-n", "30", "--verify", "20", "--yes"], folder).code == 0
    assert "Ready: " in judged()
    box = BoxClient(port)
    preset = box.preset(0)
    assert preset is not None
    box.put_preset(0, preset | {"delay_a_ns": 30_000_000})
    assert "holds A back 30.000 ms" in judged()
    assert "coincide box settings --store" in judged()
    # Old and new are told, and it asks.
    asked = run(["box", "settings", "--store"], folder)
    assert asked.code == 2
    assert "30.000 ms" in asked.err
    person = Helper(refuses=("Replace",))
    path = folder / "rig.toml"
    with pytest.raises(Declined):
        change_settings(BoxClient(port), load_rig(path), path, Change(store=True), person)
    assert run(["box", "settings", "--store", "--yes"], folder).code == 0
    assert "Ready: " in judged()
    BoxClient(port).put_preset(0, None)
    assert "holds no preset 1/60+1/30" in judged()
    # Another box's calibration is not stored without a word.
    (kept,) = folder.glob("rig-calibration-*.toml")
    kept.write_text(re.sub(r'box = "[^"]*"', 'box = "e66199"', kept.read_text("utf-8")), "utf-8")
    refused = run(["box", "settings", "--store", "--yes"], folder)
    assert refused.code == 2
    assert "--any-box" in refused.err


def test_report_knows_which_of_two_sessions_is_the_fresh_one(folder: Path) -> None:
    assert run(["calibrate", "-n", "20", "--verify", "12"], folder).code == 0
    series, fresh = (
        str(next((folder / "simulated" / "sessions").glob(f"*-{part}.jsonl")))
        for part in ("series", "verify")
    )
    right = run(["report", series, "--fresh", fresh, "--to", "page", "--csv", "pairs.csv"], folder)
    swapped = run(["report", fresh, "--fresh", series, "--to", "page"], folder)
    for ran in (right, swapped):
        assert ran.code == 0, ran.said
        assert "Predicted: " in ran.out
        assert "agrees with what was predicted" in ran.out
    assert "it is the fresh one of the two" in swapped.err
    lines = (folder / "pairs.csv").read_text("utf-8").splitlines()
    assert len(lines) == 21
    assert lines[0].startswith("pair,started_s,skew_s")
    assert run(["report", series, "--fresh", series], folder).code == 2


def test_a_rehearsals_recording_is_never_taken_for_a_measured_one(tmp_path: Path) -> None:
    """The file says of itself that it is invented, whatever its name; what rests on it says so first."""
    assert run(["recording", "--rehearse", "light"], tmp_path).code == 0
    (tmp_path / "rehearsal-light.wav").rename(tmp_path / "evening.wav")
    assert run(["recording", "evening.wav"], tmp_path).out.startswith("Simulated: ")
    for command in (["report", "evening.jsonl", "--to", "page"], ["limits", "--session", "evening.jsonl"]):
        assert run(command, tmp_path).out.startswith("Simulated: "), command
        assert json.loads(run([*command, "--json"], tmp_path).out)["simulated"] is True, command
