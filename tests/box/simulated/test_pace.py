"""A box as slow as one was measured: every run goes through, nothing is asked twice, nothing given up."""

from __future__ import annotations

from dataclasses import replace

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import watch
from coincide.box.framelog import read_framelog
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.worlds import CABLE, MEASURED_BOX, STEADY, world_spec
from coincide_firmware.app.framelog import CAPACITY, FrameLog
from coincide_firmware.app.verdict import OUT, BodyReading, FrameReading
from tests.box.sinks import MemorySession, header_for, run

SLOW = replace(STEADY, box=MEASURED_BOX)


def test_a_series_at_the_measured_pace_is_whole_and_asks_nothing_twice() -> None:
    ran = run(SLOW, 4)
    assert ran.outcome.complete
    assert len(ran.session.records) == 4
    assert not any(record.lost for record in ran.session.records)
    assert ran.client.talk.retries == 0
    assert ran.client.talk.bad_lines == 0


def test_status_takes_as_long_as_it_did_there() -> None:
    port = open_simulated(SLOW)
    client = BoxClient(port)
    begun_s = port.now_s()
    for _ in range(20):
        client.status()
    each_s = (port.now_s() - begun_s) / 20
    assert 0.05 < each_s < 0.15  # 75 ms on the emulated chip
    assert client.talk.retries == 0


def test_lamps_a_watch_and_a_page_of_the_log_come_in_time() -> None:
    port = open_simulated(SLOW)
    client = BoxClient(port)
    client.lamps(32, 1_000_000, 20)
    client.watch(True)
    assert client.status().watching
    client.watch(False)
    assert client.framelog(0, 16).entries == 0
    assert client.talk.retries == 0


def test_the_longest_row_of_lamps_and_a_long_watch_come_in_time() -> None:
    """`lamps` is answered while the row still runs, 320 s of it; a watch of 40 pairs keeps each."""
    port = open_simulated(SLOW)
    client = BoxClient(port)
    client.lamps(32, 1_000_000, 10_000)
    begun_s = port.now_s()
    client.status()
    assert port.now_s() - begun_s < 0.5
    assert client.talk.retries == 0
    twin = replace(world_spec(CABLE), box=MEASURED_BOX)
    watching = BoxClient(open_simulated(twin))
    session = MemorySession(header_for(watching))
    outcome = watch(watching, session, groups=40, gap_s=0.5, quiet_s=120.0)
    assert outcome.kept == 40
    assert not any(record.lost for record in session.records)
    assert watching.talk.bad_lines == 0


def test_a_full_frame_log_is_read_whole_at_that_pace() -> None:
    port = open_simulated(SLOW)
    log = FrameLog(port.machine.flash)
    seen = FrameReading(BodyReading(), BodyReading(), 1, OUT, 0)
    while log.begin():
        assert log.finish(1, log.entries, "1/125", seen, None)
    assert log.entries == CAPACITY == 2000
    client = BoxClient(port)
    port.machine.reset("power", off_s=0.5)
    assert client.reconnect(20.0)
    retries = client.talk.retries
    begun_s = port.now_s()
    read = read_framelog(client)
    assert len(read.frames) == 2000
    assert read.damaged == 0
    assert client.talk.retries == retries
    assert client.talk.bad_lines == 0
    # 2000 entries of some 110 bytes: the line alone takes 18 s.
    assert 18 < port.now_s() - begun_s < 120


def test_a_box_that_restarts_at_that_pace_is_found_again() -> None:
    port = open_simulated(SLOW)
    client = BoxClient(port)
    port.machine.reset("power", off_s=4.0)
    begun_s = port.now_s()
    assert client.reconnect(20.0)
    assert 3.5 < port.now_s() - begun_s < 8.0
