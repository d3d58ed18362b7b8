"""A box as slow as one was measured: every run goes through, nothing is asked twice, nothing given up."""

from __future__ import annotations

from dataclasses import replace

from coincide.box.cable.client import BoxClient
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.worlds import MEASURED_BOX, STEADY
from tests.box.sinks import run

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


def test_a_box_that_restarts_at_that_pace_is_found_again() -> None:
    port = open_simulated(SLOW)
    client = BoxClient(port)
    port.machine.reset("power", off_s=4.0)
    begun_s = port.now_s()
    assert client.reconnect(20.0)
    assert 3.5 < port.now_s() - begun_s < 8.0
