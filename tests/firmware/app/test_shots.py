"""One pair: fired once, exactly as asked, its edges told whole."""

from coincide_firmware.app.pins import FULL_A, FULL_B, SYNC_A, SYNC_B
from tests.firmware.app.stand_in import TICKS_A_MS, Bench, StandInBoard, contact, two_bodies

MS = 1000000


def edges_of(bench, shot):
    """(channel, level, tick) of a shot, put together from its events as a host would."""
    found = []
    for event in bench.events_of("edges"):
        if event["shot"] == shot:
            tick = event["base"]
            pairs = event["e"]
            assert len(pairs) <= 32
            for i in range(0, len(pairs), 2):
                tick += pairs[i + 1]
                found.append((pairs[i] // 2, pairs[i] % 2, tick))
    return found


def armed_bench():
    bench = Bench()
    two_bodies(bench)
    bench.ok("arm", timeout_ms=60000)
    return bench


def test_a_pair_is_fired_as_asked_and_told_whole():
    bench = armed_bench()
    assert bench.ok("fire", shot=1, delay_a_ns=5 * MS, lead_ns=100 * MS, closure_ns=150 * MS) == {
        "shot": 1,
        "again": False,
    }
    bench.run_ms(1500)
    (shot,) = bench.events_of("shot")
    assert shot["plan"] == {
        "delay_a": 5 * TICKS_A_MS,
        "delay_b": 0,
        "lead": 100 * TICKS_A_MS,
        "closure": 150 * TICKS_A_MS,
        "window": 1000 * TICKS_A_MS,
    }
    assert shot["full_a"] - shot["full_b"] == 5 * TICKS_A_MS
    assert shot["lost"] == 0
    assert shot["aborted"] is None
    edges = edges_of(bench, 1)
    assert len(edges) == shot["edges"] == 12
    assert (FULL_A, 1, shot["full_a"]) in edges
    assert (SYNC_A, 1, shot["full_a"] + 40 * TICKS_A_MS) in edges
    assert (SYNC_B, 1, shot["full_b"] + 45 * TICKS_A_MS) in edges
    ticks = [tick for _, _, tick in edges]
    assert ticks == sorted(ticks)
    for output, start, end in bench.board.closures:
        assert end - start == (150 if output % 2 else 255 - (output == 2) * 5) * TICKS_A_MS


def test_nanoseconds_become_the_nearest_tick():
    bench = armed_bench()
    bench.ok("fire", shot=1, delay_a_ns=8 * 12345 + 3, delay_b_ns=8 * 777 + 5)
    bench.run_ms(1500)
    (shot,) = bench.events_of("shot")
    assert shot["plan"]["delay_a"] == 12345
    assert shot["plan"]["delay_b"] == 778


def test_a_repeat_fires_nothing():
    bench = armed_bench()
    bench.ok("fire", shot=3)
    assert bench.ok("fire", shot=3) == {"shot": 3, "again": True}
    bench.run_ms(1500)
    assert bench.ok("fire", shot=3) == {"shot": 3, "again": True}
    bench.run_ms(1500)
    assert bench.board.pairs == 1
    assert len(bench.events_of("shot")) == 1


def test_a_late_duplicate_of_an_older_shot_fires_nothing():
    bench = armed_bench()
    bench.ok("fire", shot=1)
    bench.run_ms(1500)
    bench.ok("fire", shot=2)
    bench.run_ms(1500)
    assert bench.refused("fire", shot=1) == "bad_field"
    assert bench.board.pairs == 2


def test_an_unacknowledged_shot_is_not_fired_again_after_another_arm():
    bench = armed_bench()
    bench.ok("fire", shot=1)
    bench.run_ms(4000)  # the host is silent: disarmed
    assert bench.refused("fire", shot=2) == "not_armed"
    bench.ok("identify")
    bench.ok("arm")
    assert bench.ok("fire", shot=1)["again"]
    assert bench.board.pairs == 1
    bench.ok("ack", upto=bench.box.events.last)
    bench.ok("identify")
    assert not bench.ok("fire", shot=1)["again"]  # another series, numbered from 1
    assert bench.board.pairs == 2


def test_fire_needs_an_arm_and_the_interlock():
    bench = Bench()
    assert bench.refused("fire", shot=1) == "not_armed"
    bench.ok("arm")
    bench.board.open_interlock()
    assert bench.refused("fire", shot=1) in ("interlock", "not_armed")
    assert bench.refused("arm") == "interlock"
    bench.board.interlock = True
    bench.step(3)
    assert bench.refused("fire", shot=1) == "not_armed"
    assert bench.board.closures == []


def test_an_interlock_never_seen_open_fires_nothing_for_host_or_hand():
    bench = Bench(board_class=AlwaysClosed)
    assert bench.refused("arm") == "interlock_unseen"
    bench.board.contacts["button_full"] = 1
    bench.step(50)
    assert (bench.board.closures, bench.board.pairs) == ([], 0)
    bench.board.contacts["button_full"] = 0
    bench.step(50)
    bench.board.open_interlock()
    bench.step(3)
    bench.board.interlock = True
    bench.step(3)
    bench.ok("arm")


class AlwaysClosed(StandInBoard):
    """An interlock whose lead is shorted: it reads closed from the start."""

    def __init__(self, files=None, reset_cause="power"):
        super().__init__(files, reset_cause)
        self.interlock_shown = True


def test_one_shot_at_a_time_and_not_too_soon():
    bench = armed_bench()
    bench.ok("put", values={"min_interval_ms": 2000})
    bench.ok("fire", shot=1, window_ns=200 * MS)
    assert bench.refused("fire", shot=2) == "busy"
    bench.run_ms(1000)
    reply = bench.ask("fire", shot=2)
    assert reply["error"] == "busy"
    assert 0 < reply["wait_ms"] <= 1000
    bench.run_ms(reply["wait_ms"])
    bench.ok("fire", shot=2)
    assert bench.board.pairs == 2


def test_bodies_wound_by_hand_need_a_word_for_each_shot():
    bench = armed_bench()
    bench.ok("put", values={"manual_wind": 1})
    assert bench.refused("fire", shot=1) == "not_wound"
    bench.ok("wound")
    bench.ok("fire", shot=1)
    bench.run_ms(1500)
    assert bench.refused("fire", shot=2) == "not_wound"
    bench.press("wound")
    assert [event["by"] for event in bench.events_of("wound")] == ["box"]
    bench.ok("fire", shot=2)
    assert bench.refused("wound") == "busy"  # wound in mid-shot says nothing about the next
    bench.run_ms(1500)
    assert bench.refused("fire", shot=3) == "not_wound"
    assert bench.board.pairs == 2


def test_a_click_of_an_output_may_have_fired_a_body_wound_by_hand():
    bench = armed_bench()
    bench.ok("put", values={"manual_wind": 1})
    bench.ok("wound")
    bench.ok("pulse", output=1, closure_ns=100 * MS)
    bench.run_ms(1500)
    assert bench.refused("fire", shot=1) == "not_wound"
    bench.ok("wound")
    bench.ok("fire", shot=1)


def test_no_shot_is_fired_whose_events_might_not_be_kept():
    bench = armed_bench()
    shot = 0
    while True:
        shot += 1
        bench.ok("arm", timeout_ms=60000)
        reply = bench.ask("fire", shot=shot)
        if "error" in reply:
            break
        bench.run_ms(1500)
    assert reply["error"] == "unread"
    assert shot > 5
    assert bench.box.events.dropped == 0
    assert len(bench.events_of("shot")) == shot - 1
    bench.ok("ack", upto=bench.box.events.last)
    bench.ok("fire", shot=shot)


def chattering(channel, edges=500):
    """A contact that chatters at 50 kHz, rests, and then closes and opens once."""

    def played(full):
        found = [(channel, 1 - i % 2, full + i * 2500) for i in range(edges)]
        later = full + 300 * TICKS_A_MS
        return found + [(channel, 1, later), (channel, 0, later + 5 * TICKS_A_MS)]

    return played


def test_more_edges_than_there_is_room_for_are_counted():
    bench = armed_bench()
    bench.board.bodies = [chattering(SYNC_A), None]
    bench.ok("fire", shot=1)
    bench.run_ms(1600)
    (shot,) = bench.events_of("shot")
    assert shot["edges"] + shot["thinned"] == 8 + 500 + 2
    assert shot["lost"] == 0
    assert len(edges_of(bench, 1)) == shot["edges"]
    assert bench.box.events.dropped == 0


def test_no_contact_that_chatters_drowns_itself_or_another():
    for channel in range(4, 10):
        bench = armed_bench()
        others = [one for one in range(4, 10) if one != channel]
        closings = {one: 40 + one for one in others}

        def exposing(full, closings=closings):
            found = []
            for one, ms in closings.items():
                found += [(one, 1, full + ms * TICKS_A_MS), (one, 0, full + (ms + 3) * TICKS_A_MS)]
            return found

        bench.board.bodies = [chattering(channel, 1000), exposing]
        bench.ok("fire", shot=1)
        bench.run_ms(2500)
        (shot,) = bench.events_of("shot")
        assert shot["lost"] == 0
        assert shot["full_a"] is not None
        edges = edges_of(bench, 1)
        for one in others:
            assert [level for number, level, _ in edges if number == one] == [1, 0], (channel, one)
        # Of the one that chatters: it begins as it began, closes and opens in turn, and ends with its exposure.
        mine = [(level, tick) for number, level, tick in edges if number == channel]
        assert [level for level, _ in mine] == [1 - i % 2 for i in range(len(mine))], channel
        assert mine[-1][1] - mine[-2][1] == 5 * TICKS_A_MS
        ticks = [tick for _, _, tick in edges]
        assert ticks == sorted(ticks)


def test_edges_of_the_window_are_all_told_however_late_they_are_read():
    bench = armed_bench()
    bench.board.batch = 3  # so many edges a step: a dense burst just before the window ends
    bench.board.bodies = [None, None]
    full = bench.board.now + 300 * TICKS_A_MS
    for i in range(40):
        for channel in range(6, 10):
            bench.board.schedule_edge(channel, 1 - i % 2, full + 990 * TICKS_A_MS + i * 20000)
    bench.ok("fire", shot=1, window_ns=1000 * MS)
    bench.run_ms(3000)
    (shot,) = bench.events_of("shot")
    assert shot["lost"] == 0
    assert shot["edges"] == 8 + 4 * 40
    assert shot["stray"] == 0


def test_edges_from_before_a_shot_are_not_told_as_its_own():
    bench = armed_bench()
    bench.board.batch = 3
    bench.board.bodies = [None, None]
    before = bench.board.now
    for i in range(200):
        bench.board.schedule_edge(6, 1 - i % 2, before + i * 100)
    bench.board._advance_to(before + 10 * TICKS_A_MS)
    bench.ok("fire", shot=1)
    bench.run_ms(2000)
    (shot,) = bench.events_of("shot")
    assert shot["edges"] == 8
    assert shot["stray"] == 200


def test_edges_the_sampler_lost_travel_with_the_shot():
    bench = armed_bench()
    bench.ok("fire", shot=1)
    bench.run_ms(400)
    bench.board.lost = 7
    bench.run_ms(1200)
    (shot,) = bench.events_of("shot")
    assert shot["lost"] == 7
    assert [event["lost"] for event in bench.events_of("overrun")] == [7]


def test_edges_outside_any_shot_are_counted_as_stray():
    bench = armed_bench()
    bench.board.schedule_edge(SYNC_B, 1, bench.board.now + TICKS_A_MS)
    bench.board.schedule_edge(SYNC_B, 0, bench.board.now + 2 * TICKS_A_MS)
    bench.run_ms(20)
    assert bench.ok("status")["stray"] == 2
    bench.ok("fire", shot=1)
    bench.run_ms(1500)
    assert bench.events_of("shot")[0]["stray"] == 2


def test_a_body_slower_than_the_window_is_not_waited_for():
    bench = armed_bench()
    bench.board.bodies = [contact(SYNC_A, 40), contact(SYNC_B, 900)]
    bench.ok("fire", shot=1, window_ns=500 * MS)
    bench.run_ms(1500)
    edges = edges_of(bench, 1)
    assert any(channel == SYNC_A for channel, _, _ in edges)
    assert not any(channel == SYNC_B for channel, _, _ in edges)
    assert bench.ok("status")["stray"] == 2


def test_a_pulse_closes_one_output_once():
    bench = armed_bench()
    bench.ok("put", values={"manual_wind": 1})
    for output in range(4):
        bench.ok("pulse", output=output, closure_ns=20 * MS)
        assert bench.refused("pulse", output=output) == "busy"
        bench.run_ms(200)
    assert [closed[0] for closed in bench.board.closures] == [0, 1, 2, 3]
    assert all(end - start == 20 * TICKS_A_MS for _, start, end in bench.board.closures)
    shots = bench.events_of("shot")
    assert [shot["shot"] for shot in shots] == [0, 0, 0, 0]
    assert [shot["plan"]["output"] for shot in shots] == [0, 1, 2, 3]
    assert shots[1]["full_a"] is not None
    assert shots[3]["full_b"] is not None
    assert (FULL_B, 1, shots[3]["full_b"]) in edges_of(bench, 0)


def test_a_pulse_needs_an_arm():
    bench = Bench()
    assert bench.refused("pulse", output=1) == "not_armed"
    assert bench.board.closures == []


def test_the_lamp_row_is_run_in_ticks():
    bench = Bench()
    bench.ok("lamps", lamps=32, step_ns=MS, rows=3)
    assert bench.board.lamp_runs == [(32, TICKS_A_MS, 3)]


def test_the_longest_shot_fits_the_arrays():
    bench = armed_bench()
    bench.ok(
        "fire", shot=1, delay_a_ns=500 * MS, lead_ns=2000 * MS, closure_ns=5000 * MS, window_ns=10000 * MS
    )
    for _ in range(14):
        bench.run_ms(1000)
        bench.ok("status")
    (shot,) = bench.events_of("shot")
    assert shot["lost"] == 0
    lengths = [end - start for output, start, end in bench.board.closures if output == 1]
    assert lengths == [5000 * TICKS_A_MS]
