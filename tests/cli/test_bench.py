"""The bench test of a box and what follows from it, with the simulated box passed off as a real one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from coincide.bench.check import record as bench_record
from coincide.bench.check.circuits import CIRCUITS, MEANS
from coincide.bench.check.evening import Checked, bench_check
from coincide.bench.check.hand import SimulatedHand
from coincide.bench.check.record import bench_folder, read_record
from coincide.bench.check.stages import STAGES
from coincide.bench.objects import as_object
from coincide.bench.opening.box import Where, opened_box
from coincide.bench.person import Question
from coincide.box.cable import ports
from coincide.box.simulated.board import SimulatedBoard
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.report.json.plain import to_json
from coincide_wiring.circuits.sensors import SYNC_VARIANTS
from coincide_wiring.netlist import Build
from tests.bench.people import Helper
from tests.cli.running import run

UID = "e6614103e7000003"


class RealBox:
    """A port on which the simulated box says it is real, and a person who does what is asked."""

    def __init__(self, folder: Path, data: Path) -> None:
        self.folder = folder
        self.data = data
        self.world = "loopback both"
        self.kept: SimulatedPort | None = None  # the same box again, with what it remembers
        self.person = Helper(does=self.does)

    def does(self, question: Question) -> bool:
        return self.hand(question)

    def open(self, name: str) -> SimulatedPort:
        port = self.kept or open_simulated(self.world, seed=3)
        self.last = port
        self.hand = SimulatedHand(port.world)
        return port

    def check(self, *stages: str, circuits: dict[str, str | None] | None = None) -> Checked:
        with opened_box(None, Where("/dev/box"), self.person) as client:
            return bench_check(client, circuits or {}, stages or STAGES, self.person)

    def record(self) -> bench_record.BenchRecord:
        return read_record(newest(bench_folder(UID, self.data / "bench"), "*.toml"))


@pytest.fixture
def real(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, acknowledged: None) -> RealBox:
    assert run(["rig", "new"], tmp_path).code == 0
    rig = tmp_path / "rig.toml"
    rig.write_text(rig.read_text(encoding="utf-8").replace('"manual"', '"motor"'), encoding="utf-8")
    box = RealBox(tmp_path, tmp_path / "data")
    identity = SimulatedBoard.identity

    def passed_off(self: SimulatedBoard) -> dict[str, Any]:
        return identity(self) | {"simulated": False, "uid": UID}

    monkeypatch.setattr(ports, "SerialPort", box.open)
    monkeypatch.setattr(SimulatedBoard, "identity", passed_off)
    monkeypatch.setattr(bench_record, "user_data_path", lambda *_, **__: box.data)
    return box


def test_a_bench_evening_is_kept_with_the_box_and_its_circuits(real: RealBox) -> None:
    checked = real.check()
    assert checked.record.passed
    assert "Circuits of this box (not recorded before):" in real.person.told
    assert real.person.asked[0] == "Is it built so now?"
    record = real.record()
    assert (record.box_uid, record.build) == (UID, Build())
    assert record.passed
    assert record.zero is not None
    assert checked.kept is not None
    assert checked.kept.is_relative_to(real.data)
    shown = run(["box", "settings", "--port", "/dev/box"], real.folder).out
    assert "cell: mechanical contact" in shown
    assert "in force" in shown


def test_the_circuits_are_asked_for_one_by_one_when_they_changed(real: RealBox) -> None:
    real.person.refuses = ("Is it built so now?",)
    real.person.answers = ["cell", "wetted", "contact", "solenoid", "transimpedance", "transimpedance"]
    assert real.check("controls").record.passed
    assert real.record().build == Build(("cell", "wetted"), ("contact", "solenoid"))
    assert f"Sync input of body B ({', '.join(SYNC_VARIANTS)})" in real.person.asked
    # Said once, it holds until something else is said.
    real.check("controls", circuits={"gate_a": "load"})
    assert real.record().build == Build(
        ("cell", "wetted"), ("contact", "solenoid"), ("load", "transimpedance")
    )
    assert real.person.asked.count("Is it built so now?") == 1


def test_another_sync_circuit_lapses_the_zero_check_and_everyone_says_so(real: RealBox) -> None:
    assert real.check("zero").record.passed
    real.world = "steady"
    first = series(real)
    assert first["known"]["zero"]["skew_s"] == pytest.approx(1e-6, abs=2e-8)
    assert (first["known"]["stale_zero"], first["known"]["wiring"]["sync"]) == (None, ["cell", "cell"])

    changed = real.check("sync", circuits={"sync_a": "wetted"})
    assert changed.record.passed
    words = "body A had the 'cell' sync circuit then and has 'wetted' now"
    assert words in plain(run(["box", "settings", "--port", "/dev/box"], real.folder).out)
    second = series(real)
    assert second["known"]["zero"] is None
    assert words in second["known"]["stale_zero"]
    terms = {
        one["signal"]: one["u_s"] for one in second["known"]["wiring"]["terms"] if one["enters"] == "skew"
    }
    before = {
        one["signal"]: one["u_s"] for one in first["known"]["wiring"]["terms"] if one["enters"] == "skew"
    }
    assert terms["sync_b"] == pytest.approx(5 * before["sync_b"])
    calibrated = run(["calibrate", "-n", "24", "--verify", "10", "--port", "/dev/box", "--yes"], real.folder)
    assert words in plain(calibrated.out)
    assert "coincide box check --zero" in calibrated.said
    real.kept = real.last
    assert words in plain(run(["ready", "--port", "/dev/box", "--yes"], real.folder).said)
    real.kept = None
    run(["report", newest(real.folder / "sessions").name, "--to", "page"], real.folder / "sessions")
    page = next((real.folder / "sessions" / "page").rglob("*.html")).read_text(encoding="utf-8")
    assert "out of date" in page

    real.world = "loopback both"
    assert real.check("zero").record.passed
    real.world = "steady"
    assert series(real)["known"]["zero"] is not None


def plain(text: str) -> str:
    return " ".join(text.split())


def newest(folder: Path, pattern: str = "*.jsonl") -> Path:
    return max(folder.glob(pattern), key=lambda path: path.stat().st_mtime_ns)


def series(real: RealBox) -> dict[str, Any]:
    """The header of a series of five pairs."""
    ran = run(["series", "-n", "5", "--port", "/dev/box", "--yes"], real.folder)
    assert ran.code == 0, ran.said
    header: dict[str, Any] = json.loads(
        newest(real.folder / "sessions").read_text(encoding="utf-8").split("\n", 1)[0]
    )
    assert ("out of date" in ran.out) == (header["known"]["stale_zero"] is not None)
    return header


def test_what_was_found_is_kept_when_the_box_stops_half_way(
    real: RealBox, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(SimulatedBoard, "interlock_closed", lambda self: False)
    checked = real.check("controls", "outputs")
    assert checked.stopped is not None
    assert checked.stopped.exit_code == 3
    assert "nterlock" in str(checked.stopped)
    assert [one.name for one in real.record().items if one.passed is False] == ["interlock"]


def test_json_is_the_record(real: RealBox) -> None:
    found = json.loads(to_json(as_object(real.check("zero"))))
    assert found["format"] == "coincide-bench-result"
    assert found["passed"] is True
    assert found["zero"]["loop_s"] == list(real.record().zero.loop_s)  # type: ignore[union-attr]
    assert Path(found["kept_as"]).exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--sync-a", "wet"), "Did you mean 'wetted'?"),
        (("--release-b", "selenoid"), "Did you mean 'solenoid'?"),
        (("--gate-a", "qqq"), "'qqq' is none of transimpedance, through-lens, load."),
        (("--only", "gates"), "Did you mean 'gate'?"),
        (("--zero", "--no-zero"), "both asked for and left out"),
    ],
)
def test_near_misses_are_answered_with_the_nearest(
    tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    ran = run(["box", "check", *arguments], tmp_path)
    assert ran.code == 2
    assert words in ran.err


def test_the_simulated_box_is_rehearsed_whole_and_nothing_of_it_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bench_record, "user_data_path", lambda *_, **__: tmp_path / "data")
    run(["rig", "new"], tmp_path)
    ran = run(["box", "check"], tmp_path)
    assert ran.code == 0, ran.said
    assert "Interlock: open it now. Done? yes" in ran.err
    assert "lamp_row" in ran.out
    assert not (tmp_path / "data").exists()


def test_the_bench_needs_no_rig_file_yet(tmp_path: Path) -> None:
    assert run(["box", "check", "--only", "outputs"], tmp_path).code == 0
    assert run(["box", "settings"], tmp_path).code == 0
    stored = run(["box", "settings", "--store"], tmp_path)
    assert stored.code == 2
    assert "rig.toml does not exist" in stored.err


def test_the_words_of_the_command_line_are_those_of_the_wiring() -> None:
    for key, _, names in CIRCUITS:
        for name in names:
            assert MEANS[name]
            Build(**{key: (name, name)})
        assert getattr(Build(), key) == (names[0], names[0])


def test_a_rehearsal_says_so_and_passes_nothing(tmp_path: Path) -> None:
    ran = run(["box", "check", "--only", "outputs", "--only", "zero"], tmp_path)
    assert ran.code == 0
    assert "passed" not in ran.out
    assert "real box" not in ran.out
    assert ran.out.count(" rehearsed ") == 6  # pull-downs, four outputs, zero check
    assert "nothing of yours was tested" in ran.out
    told = json.loads(run(["box", "check", "--only", "zero", "--json"], tmp_path).out)
    assert [one["outcome"] for one in told["items"]] == ["rehearsed"]
