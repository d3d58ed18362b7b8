"""The cautions come before the first real box on a machine, are asked for once, and stop who says no."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from coincide.bench.check.talk import BenchTalk
from coincide.bench.opening import acknowledge
from coincide.bench.opening.box import Where, opened_box
from coincide.bench.person import Unattended
from coincide.box.cable import ports
from coincide.box.simulated.board import SimulatedBoard
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.errors import BadInput
from coincide_wiring.cautions import CAUTIONS
from tests.bench.people import Helper
from tests.cli.running import run

pytestmark = pytest.mark.usefixtures("unacknowledged")


class Heard(SimulatedPort):
    """A simulated box that passes for a real one, and what was asked of it."""

    def __init__(self) -> None:
        port = open_simulated("steady", seed=2)
        super().__init__(port.machine, "/dev/box")
        self.asked: list[bytes] = []

    def write(self, data: bytes) -> None:
        self.asked += re.findall(rb'"do": *"(\w+)"', data)
        super().write(data)


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Heard]:
    """Ports that were opened."""
    found: list[Heard] = []
    said = SimulatedBoard.identity

    def open_port(name: str) -> Heard:
        found.append(Heard())
        return found[-1]

    monkeypatch.setattr(ports, "SerialPort", open_port)
    monkeypatch.setattr(SimulatedBoard, "identity", lambda board: said(board) | {"simulated": False})
    return found


def nothing_but_who(opened: list[Heard]) -> bool:
    """Whether the boxes were asked who they are, and nothing else."""
    return all(set(port.asked) <= {b"identify", b"status"} and port.asked for port in opened)


def test_a_person_reads_them_all_and_is_asked_once(opened: list[Heard]) -> None:
    person = Helper()
    with opened_box(None, Where("/dev/box"), person):
        pass
    told = " ".join(person.told)
    assert all(one.say in told for one in CAUTIONS)
    assert acknowledge.acknowledged()
    again = Helper()
    with opened_box(None, Where("/dev/box"), again):
        pass
    assert again.told == again.asked == []
    assert (len(person.asked), len(opened)) == (1, 2)


def test_who_says_no_opens_nothing(opened: list[Heard]) -> None:
    with (
        pytest.raises(BadInput, match="coincide wiring cautions --acknowledge"),
        opened_box(None, Where("/dev/box"), Helper(refuses=("understood",))),
    ):
        pass
    assert nothing_but_who(opened)
    assert not acknowledge.acknowledged()


def test_a_script_is_told_what_to_do_first(opened: list[Heard]) -> None:
    with (
        pytest.raises(BadInput, match="coincide wiring cautions --acknowledge"),
        opened_box(None, Where("/dev/box"), Unattended()),
    ):
        pass
    assert nothing_but_who(opened)


def test_so_is_who_pipes_the_command(tmp_path: Path, opened: list[Heard]) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    ran = run(["box", "settings", "--port", "/dev/box"], tmp_path)
    assert ran.code == 2
    assert "coincide wiring cautions --acknowledge" in ran.err
    assert nothing_but_who(opened)


def test_a_simulated_box_asks_for_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    assert run(["box", "settings"], tmp_path).code == 0
    # Nor one behind a port.
    monkeypatch.setattr(ports, "SerialPort", lambda _: open_simulated("steady", seed=2))
    ran = run(["box", "settings", "--port", "/dev/pts/9"], tmp_path)
    assert ran.code == 0
    assert ran.out.startswith("Simulated: the box on ")


def test_where_the_word_cannot_be_kept_it_holds_for_this_run_and_says_why(
    opened: list[Heard], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setattr(acknowledge, "user_config_path", lambda *_, **__: tmp_path / "file" / "coincide")
    person = Helper()
    with opened_box(None, Where("/dev/box"), person) as client, BenchTalk(client).armed():
        pass
    (said,) = [one for one in person.told if "Acknowledged" in one]
    assert "you will be asked again" in said
    assert "XDG_CONFIG_HOME" in said
