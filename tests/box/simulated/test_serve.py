"""The ordinary serial path against the simulated box on a pseudo-terminal, in real time."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator

import pytest
import serial

from coincide.box.cable.client import BoxClient
from coincide.box.cable.lost import PortLost
from coincide.box.cable.ports import SerialPort, open_port
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.errors import BoxFailed
from coincide.session.model import Plan
from tests.box.served import Served
from tests.box.sinks import MemorySession, header_for

pytestmark = [
    pytest.mark.pty,
    pytest.mark.skipif(sys.platform == "win32", reason="this system has no pseudo-terminals"),
]


@pytest.fixture
def served() -> Iterator[Served]:
    serving = Served(open_simulated("steady", seed=5).machine)
    yield serving
    serving.end()


def test_a_series_over_a_serial_port_is_the_series_that_was_fired(served: Served) -> None:
    port = open_port(served.name)
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    plan = Plan(lead_ns=200_000_000, window_ns=200_000_000)
    outcome = run_series(client, session, SeriesPlan(2, plan=plan, interval_s=0.6))
    client.close()
    assert outcome.complete
    assert [record.shot for record in session.records] == [1, 2]
    truth = served.server.machine.world.truth
    assert len(truth) == 2
    for record, real in zip(session.records, truth, strict=True):
        assert real.reference_tick in record.tick


def test_a_second_host_is_told_who_has_the_box(served: Served) -> None:
    first = SerialPort(served.name)
    with pytest.raises(BoxFailed, match=f"in use by another run of coincide .process {os.getpid()}"):
        SerialPort(served.name)
    first.close()
    SerialPort(served.name).close()


def test_a_port_held_by_another_program_is_refused(served: Served) -> None:
    held = serial.Serial(served.name, exclusive=True)
    with pytest.raises(BoxFailed, match="Another program has the port"):
        SerialPort(served.name)
    held.close()


def test_an_unplugged_box_is_one_sentence(served: Served) -> None:
    client = BoxClient(open_port(served.name))
    served.end()
    with pytest.raises(PortLost, match="went away"):
        client.status()
    client.close()


def test_a_device_that_says_nothing_or_nonsense_is_refused() -> None:
    master, slave = os.openpty()
    name = os.ttyname(slave)
    port = SerialPort(name)
    with pytest.raises(BoxFailed, match="Nothing answers on"):
        BoxClient(port)
    os.write(master, b"$GPGGA,not,ours*00\r\n" * 3)
    with pytest.raises(BoxFailed, match="is not a box of ours"):
        BoxClient(port)
    port.close()
    os.close(slave)
    os.close(master)


def test_a_port_that_does_not_exist_or_is_no_port(tmp_path: object) -> None:
    with pytest.raises(BoxFailed, match="There is no port"):
        open_port("/dev/ttyNoSuchPort")
    with pytest.raises(BoxFailed, match="cannot be opened as a serial port"):
        open_port("/dev/null")
