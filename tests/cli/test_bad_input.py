"""Bad input ends in one sentence and exit code 2 or 3, with every file as it was."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from coincide.box.cable import ports
from coincide.box.simulated.board import SimulatedBoard
from coincide.box.simulated.port import open_simulated
from tests.cli.running import Ran, run


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a rig and one session."""
    folder = tmp_path_factory.mktemp("measured")
    assert run(["rig", "new"], folder).code == 0
    assert run(["series", "-n", "8", "--out", "s.jsonl"], folder).code == 0
    return folder


def one_sentence(ran: Ran, code: int) -> None:
    assert ran.code == code, ran.said
    assert "Traceback" not in ran.said
    lines = [line for line in ran.err.splitlines() if line and not line.startswith("No --port given")]
    assert len(lines) == 1, ran.err
    assert lines[0].endswith((".", "'"))


def later(text: str) -> str:
    header, rest = text.split("\n", 1)
    return json.dumps(json.loads(header) | {"version": 99}) + "\n" + rest


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(lambda text: "", id="empty"),
        pytest.param(lambda text: "hello\nthere\n", id="not ours"),
        pytest.param(later, id="later version"),
        pytest.param(lambda text: text[:40], id="cut in the header"),
        pytest.param(lambda text: "\x00" * 4000, id="zeros"),
        pytest.param(lambda text: "[1, 2]\n", id="other json"),
        pytest.param(lambda text: '{"format": "coincide-session"}\n', id="header without fields"),
    ],
)
def test_a_file_that_is_no_session(measured: Path, tmp_path: Path, spoil: Callable[[str], str]) -> None:
    path = tmp_path / "bad.jsonl"
    path.write_text(spoil((measured / "s.jsonl").read_text()))
    before = path.read_bytes()
    one_sentence(run(["report", str(path)], tmp_path), 2)
    assert path.read_bytes() == before


@pytest.mark.parametrize("share", [0.3, 0.6, 0.85, 0.999])
def test_a_session_cut_short_is_read_as_far_as_it_goes(measured: Path, tmp_path: Path, share: float) -> None:
    text = (measured / "s.jsonl").read_bytes()
    path = tmp_path / "cut.jsonl"
    path.write_bytes(text[: max(int(share * len(text)), text.index(b"\n") + 20)])
    before = path.read_bytes()
    ran = run(["report", str(path)], tmp_path)
    assert ran.code == 0, ran.said
    assert "cut short" in ran.out
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", ["missing.jsonl", "."])
def test_a_session_that_is_not_there(tmp_path: Path, name: str) -> None:
    one_sentence(run(["report", name], tmp_path), 2)


def test_no_rig_says_how_to_make_one(tmp_path: Path) -> None:
    ran = run(["series"], tmp_path)
    one_sentence(ran, 2)
    assert "coincide rig new" in ran.err


def test_a_rig_file_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "rig.toml").write_text("mine")
    one_sentence(run(["rig", "new"], tmp_path), 2)
    assert (tmp_path / "rig.toml").read_text() == "mine"


def test_a_wrong_port(measured: Path, acknowledged: None) -> None:
    one_sentence(run(["series", "--port", "/dev/no-such-port"], measured), 3)


def test_no_real_box_before_the_cautions_are_acknowledged(
    measured: Path, unacknowledged: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = SimulatedBoard.identity
    monkeypatch.setattr(ports, "SerialPort", lambda _: open_simulated("steady", seed=2))
    monkeypatch.setattr(SimulatedBoard, "identity", lambda board: said(board) | {"simulated": False})
    ran = run(["series", "--port", "/dev/box"], measured)
    one_sentence(ran, 2)
    assert "cautions" in ran.err


def test_an_unknown_world(measured: Path) -> None:
    ran = run(["series", "--world", "atlantis"], measured)
    one_sentence(ran, 2)
    assert "ennerby fen" in ran.err


@pytest.mark.parametrize("text", ["18ms", "C 18ms", "A", "A eighteen", "A 3 kg"])
def test_an_offset_that_is_none(measured: Path, text: str) -> None:
    one_sentence(run(["series", "--offset", text], measured), 2)
