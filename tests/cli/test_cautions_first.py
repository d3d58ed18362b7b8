"""The cautions come before the first real box on a machine, are asked for once, and stop who says no."""

from __future__ import annotations

from pathlib import Path

import click
import pytest

from coincide.bench import acknowledge
from coincide.box.cable import ports
from coincide.box.simulated.port import open_simulated
from coincide.cli.terminal import cautions_first
from coincide_wiring.cautions import CAUTIONS
from tests.cli.running import Ran, run

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


def settings(folder: Path) -> Ran:
    assert run(["rig", "new"], folder).code == 0
    return run(["box", "settings", "--port", "/dev/box"], folder)


def answering(monkeypatch: pytest.MonkeyPatch, answer: bool) -> list[str]:
    asked: list[str] = []

    def confirm(text: str, **_: object) -> bool:
        asked.append(text)
        return answer

    monkeypatch.setattr(cautions_first, "at_a_terminal", lambda: True)
    monkeypatch.setattr(click, "confirm", confirm)
    return asked


def test_a_person_reads_them_all_and_is_asked_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, opened: list[str]
) -> None:
    asked = answering(monkeypatch, True)
    first = settings(tmp_path)
    assert first.code == 0
    told = " ".join(first.err.split())
    assert all(" ".join(one.say.split()) in told for one in CAUTIONS)
    assert acknowledge.acknowledged()
    second = run(["box", "settings", "--port", "/dev/box"], tmp_path)
    assert "lethal" not in second.said
    assert (len(asked), len(opened)) == (1, 2)


def test_who_says_no_opens_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, opened: list[str]
) -> None:
    answering(monkeypatch, False)
    ran = settings(tmp_path)
    assert ran.code == 2
    assert "coincide wiring cautions --acknowledge" in ran.err
    assert opened == []
    assert not acknowledge.acknowledged()


def test_a_script_is_told_what_to_do_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, opened: list[str]
) -> None:
    monkeypatch.setattr(cautions_first, "at_a_terminal", lambda: False)
    ran = settings(tmp_path)
    assert ran.code == 2
    assert "coincide wiring cautions --acknowledge" in ran.err
    assert opened == []


def test_a_simulated_box_asks_for_nothing(tmp_path: Path) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    assert run(["box", "settings"], tmp_path).code == 0
