"""Listening without firing."""

from coincide_firmware.app.pins import SYNC_A, SYNC_B
from tests.firmware.app.stand_in import TICKS_A_MS, Bench

MS = 1000000


def pair(bench, at_ms, apart_ms=5):
    start = bench.board.now + at_ms * TICKS_A_MS
    for channel, begin in ((SYNC_A, start), (SYNC_B, start + apart_ms * TICKS_A_MS)):
        bench.board.schedule_edge(channel, 1, begin)
        bench.board.schedule_edge(channel, 0, begin + 20 * TICKS_A_MS)


def test_edges_come_in_groups_cut_by_quiet():
    bench = Bench()
    bench.ok("watch", on=1, gap_ns=300 * MS)
    for at_ms in (100, 900, 2500):
        pair(bench, at_ms)
    bench.run_ms(4000)
    groups = bench.events_of("group")
    assert [group["group"] for group in groups] == [1, 2, 3]
    assert [group["edges"] for group in groups] == [4, 4, 4]
    # Between two group events stand exactly that group's edges.
    kinds = [event["is"] for event in bench.events]
    assert kinds == ["edges", "group"] * 3
    assert all(event["shot"] == 0 for event in bench.events_of("edges"))


def test_groups_that_arrive_together_are_still_cut():
    bench = Bench()
    bench.ok("watch", on=1, gap_ns=300 * MS)
    now = bench.board.now
    for k in range(3):
        # Seen by the sampler one after another, drained by the loop all at once.
        bench.board._edges.append((SYNC_A, 1, now + k * 400 * TICKS_A_MS))
        bench.board._edges.append((SYNC_A, 0, now + (k * 400 + 20) * TICKS_A_MS))
    bench.run_ms(2000)
    assert [group["edges"] for group in bench.events_of("group")] == [2, 2, 2]


def test_edges_are_seen_long_before_the_group_ends():
    bench = Bench()
    bench.ok("watch", on=1, gap_ns=5000 * MS)
    pair(bench, 10)
    bench.run_ms(150)
    assert bench.events_of("edges")
    assert not bench.events_of("group")


def test_nothing_is_fired_or_pressed_while_watching():
    bench = Bench()
    bench.ok("watch", on=1)
    bench.press("button_full")
    bench.run_ms(2000)
    assert bench.board.closures == []
    assert bench.refused("fire", shot=1) == "not_armed"


def test_stopping_ends_the_group():
    bench = Bench()
    bench.ok("watch", on=1, gap_ns=5000 * MS)
    pair(bench, 10)
    bench.run_ms(100)
    bench.ok("watch", on=0)
    assert [group["edges"] for group in bench.events_of("group")] == [4]
    pair(bench, 10)
    bench.run_ms(100)
    assert len(bench.events_of("group")) == 1


def test_lost_edges_are_counted_in_their_group():
    bench = Bench()
    bench.ok("watch", on=1, gap_ns=300 * MS)
    pair(bench, 10)
    bench.run_ms(20)
    bench.board.lost = 3
    bench.run_ms(1000)
    assert bench.events_of("group")[0]["lost"] == 3
    assert bench.events_of("overrun")[0]["lost"] == 3


def test_what_the_full_buffer_could_not_keep_is_counted():
    bench = Bench()
    bench.ok("watch", on=1, gap_ns=100 * MS)
    for _ in range(120):
        pair(bench, 10)
        bench.run_ms(200)
    told = len(bench.events_of("group"))
    assert told < 120
    assert bench.box.events.dropped > 0
    bench.ok("ack", upto=bench.box.events.last)
    bench.step(3)
    assert bench.events_of("dropped")[0]["count"] == bench.box.events.dropped


def test_a_long_watch_with_a_reading_host_loses_nothing():
    bench = Bench()
    bench.ok("watch", on=1, gap_ns=100 * MS)
    for _ in range(120):
        pair(bench, 10)
        bench.run_ms(200)
        bench.ok("ack", upto=bench.box.events.last)
    assert len(bench.events_of("group")) == 120
    assert bench.box.events.dropped == 0
