"""The real serial path in real time: two hosts at once, and a plug that comes back under another name."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from coincide.bench.opening.acknowledge import acknowledge
from coincide.box.cable.client import BoxClient
from coincide.box.cable.ports import SerialPort
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.machine import Machine
from coincide.box.simulated.port import open_simulated
from coincide.session.file import SessionWriter, read_session
from coincide.session.model import Plan, ShotRecord
from tests.box.served import Served
from tests.box.sinks import header_for
from tests.reliability.hosts import rig_in

pytestmark = [
    pytest.mark.pty,
    pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals"),
]
PLAN = Plan(lead_ns=100_000_000, window_ns=200_000_000)


@pytest.fixture
def machine() -> Machine:
    return open_simulated("steady", seed=5).machine


@pytest.fixture
def served(machine: Machine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    serving = Served(machine)
    yield serving
    serving.unplug()


def test_the_second_of_two_hosts_is_told_who_has_the_box_and_the_first_goes_on(
    served: Served, tmp_path: Path
) -> None:
    rig_in(tmp_path)
    acknowledge(tmp_path / "config" / "coincide")
    first = BoxClient(SerialPort(served.name))
    second = subprocess.run(
        [sys.executable, "-m", "coincide", "series", "-n", "5", "--yes", "--port", served.name],
        cwd=tmp_path,
        env={**os.environ, "XDG_CONFIG_HOME": str(tmp_path / "config")},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert second.returncode == 3, second.stderr
    assert f"in use by another run of coincide (process {os.getpid()}" in second.stderr
    assert "Traceback" not in second.stderr
    path = tmp_path / "s.jsonl"
    with SessionWriter(path, header_for(first)) as writer:
        assert run_series(first, writer, SeriesPlan(1, PLAN, interval_s=0.5)).complete
    first.close()
    assert len(served.server.machine.world.truth) == 1


@dataclass
class Listed:
    """What the system says of a serial port."""

    device: str
    vid: int = 0x2E8A
    pid: int = 0x0005
    serial_number: str = "e6614c31"


def test_a_plug_that_comes_back_under_another_name_in_mid_series(
    served: Served, machine: Machine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    listed = [Listed(served.name), Listed("/dev/a-stranger", 0x1234, 0x0001, "7")]
    monkeypatch.setattr("serial.tools.list_ports.comports", lambda: list(listed))
    client = BoxClient(SerialPort(served.name))
    again: list[Served] = []

    def replug(record: ShotRecord) -> None:
        if record.shot == 2:
            served.unplug()
            machine.link.plug()
            again.append(Served(machine))
            listed[0] = Listed(again[0].name)

    path = tmp_path / "s.jsonl"
    try:
        # The first port stays open meanwhile, so that the second cannot be given its name.
        with SessionWriter(path, header_for(client)) as writer:
            outcome = run_series(client, writer, SeriesPlan(4, PLAN, interval_s=0.5), replug)
        client.close()
    finally:
        for one in again:
            one.unplug()
    assert outcome.complete
    assert client.port.name == again[0].name != served.name
    assert f"The box is back on {again[0].name}" in "\n".join(outcome.sentences)
    session = read_session(path)
    assert session.shot.tolist() == [1, 2, 3, 4]
    assert {real.reference_tick for real in machine.world.truth} <= set(session.edges.tick.tolist())
    assert len(machine.world.truth) == 4
