"""The cautions come before the first real box on a machine, are asked for once, and stop who says no."""

from __future__ import annotations

from pathlib import Path

import pytest

from coincide.bench import acknowledge
from coincide.bench.opening import Where, opened_box
from coincide.bench.person import Unattended
from coincide.box.cable import ports
from coincide.box.simulated.port import open_simulated
from coincide.errors import BadInput
from coincide_wiring.cautions import CAUTIONS
from tests.bench.people import Helper
from tests.cli.running import run

pytestmark = pytest.mark.usefixtures("unacknowledged")


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Ports that were opened; each is a simulated box."""
    names: list[str] = []

    def open_port(name: str) -> object:
        names.append(name)
        return open_simulated("steady", seed=2)

    monkeypatch.setattr(ports, "SerialPort", open_port)
    return names


def test_a_person_reads_them_all_and_is_asked_once(opened: list[str]) -> None:
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


def test_who_says_no_opens_nothing(opened: list[str]) -> None:
    with (
        pytest.raises(BadInput, match="coincide wiring cautions --acknowledge"),
        opened_box(None, Where("/dev/box"), Helper(refuses=("understood",))),
    ):
        pass
    assert opened == []
    assert not acknowledge.acknowledged()


def test_a_script_is_told_what_to_do_first(opened: list[str]) -> None:
    with (
        pytest.raises(BadInput, match="coincide wiring cautions --acknowledge"),
        opened_box(None, Where("/dev/box"), Unattended()),
    ):
        pass
    assert opened == []


def test_so_is_who_pipes_the_command(tmp_path: Path, opened: list[str]) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    ran = run(["box", "settings", "--port", "/dev/box"], tmp_path)
    assert ran.code == 2
    assert "coincide wiring cautions --acknowledge" in ran.err
    assert opened == []


def test_a_simulated_box_asks_for_nothing(tmp_path: Path) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    assert run(["box", "settings"], tmp_path).code == 0
