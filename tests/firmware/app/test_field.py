"""Alone in the field: the button, the presets, the verdict, the log."""

from coincide_firmware.app.frame_words import FRAME_FIELDS
from coincide_firmware.app.messages import FRAME_VERDICTS
from coincide_firmware.app.pins import SYNC_A, SYNC_B
from tests.firmware.app.stand_in import TICKS_A_MS, Bench, contact, two_bodies

MS = 1000000
PRESET = {"name": "1/125", "tolerance_ns": MS, "delay_a_ns": 5 * MS, "how_a": 1, "how_b": 1}


def field_bench():
    """A rig whose B is 5 ms late, and the preset that holds A back by as much."""
    bench = Bench()
    two_bodies(bench, 40, 45)
    bench.ok("put", preset=0, values=PRESET)
    bench.run_ms(4000)
    bench.board.led_log.clear()
    return bench


def frames(bench):
    found = []  # type: list[dict]
    while True:
        page = bench.ok("framelog", start=len(found), count=16)
        if not page["list"]:
            return found
        for entry in page["list"]:
            assert len(entry) == len(FRAME_FIELDS)
            found.append({FRAME_FIELDS[i]: entry[i] for i in range(len(entry))})


def patterns_shown(bench):
    """Each stretch of LED light as (blue, orange), in order."""
    return [(blue, orange) for _, blue, orange in bench.board.led_log if blue or orange]


def test_the_button_fires_with_the_stored_offset_and_the_frame_is_read():
    bench = field_bench()
    bench.press("button_full")
    bench.run_ms(2500)
    assert bench.board.pairs == 1
    fulls = {output: start for output, start, _ in bench.board.closures if output % 2}
    assert fulls[1] - fulls[3] == 5 * TICKS_A_MS
    (frame,) = frames(bench)
    assert frame["entry"] == 0
    assert frame["preset"] == "1/125"
    assert FRAME_VERDICTS[frame["verdict"]] == "within"
    assert frame["skew_ns"] == 0
    assert frame["lag_a_ns"] == 40 * MS
    assert frame["lag_b_ns"] == 45 * MS
    assert frame["delay_a_ns"] == 5 * MS
    assert frame["tolerance_ns"] == MS
    assert frame["how_a"] == 1
    assert frame["boot"] == 1
    assert patterns_shown(bench) == [(1, 0)]


def test_each_verdict_is_shown_and_logged():
    for bodies, verdict, light in (
        ((40, 47), "out", [(0, 1)] * 4),
        ((40, None), "no_answer_b", [(0, 1)] * 6),
        ((None, 40), "no_answer_a", [(0, 1)] * 4),
        ((None, None), "no_answer_both", [(0, 1)] * 8),
    ):
        bench = field_bench()
        bench.board.bodies = [
            None if lag is None else contact(channel, lag)
            for channel, lag in ((SYNC_A, bodies[0]), (SYNC_B, bodies[1]))
        ]
        bench.press("button_full")
        bench.run_ms(6000)
        (frame,) = frames(bench)
        assert FRAME_VERDICTS[frame["verdict"]] == verdict
        assert patterns_shown(bench) == light, verdict


def test_without_a_preset_the_frame_is_fired_and_not_measured():
    bench = Bench()
    two_bodies(bench, 40, 40)
    bench.run_ms(2000)
    bench.board.led_log.clear()
    bench.press("button_full")
    bench.run_ms(4000)
    assert bench.board.pairs == 1
    (frame,) = frames(bench)
    assert FRAME_VERDICTS[frame["verdict"]] == "not_measured"
    assert frame["preset"] == ""
    assert frame["skew_ns"] is None
    assert patterns_shown(bench) == [(1, 1), (1, 1)]


def test_half_press_follows_the_finger_and_shortens_the_lead():
    bench = field_bench()
    bench.board.contacts["button_half"] = 1
    bench.run_ms(200)
    assert bench.board.outputs_closed() == 5
    bench.board.contacts["button_full"] = 1
    pressed = bench.board.now
    bench.run_ms(300)
    fulls = [start for output, start, _ in bench.board.closures if output == 3]
    lead_ms = (fulls[0] - pressed) / TICKS_A_MS
    assert 95 <= lead_ms <= 115  # 300 ms of lead, 200 of them held by the finger
    bench.board.contacts["button_full"] = 0
    bench.board.contacts["button_half"] = 0
    bench.run_ms(2000)
    assert bench.board.outputs_closed() == 0
    assert bench.fault_codes() == []
    assert FRAME_VERDICTS[frames(bench)[0]["verdict"]] == "within"


def test_letting_go_of_half_opens_it():
    bench = field_bench()
    bench.press("button_half", ms=500)
    assert bench.board.outputs_closed() == 0
    assert bench.board.pairs == 0
    assert {output for output, _, _ in bench.board.closures} == {0, 2}


def test_half_press_is_let_go_after_a_minute():
    bench = field_bench()
    bench.board.contacts["button_half"] = 1
    bench.run_ms(59000)
    assert bench.board.outputs_closed() == 5
    bench.run_ms(1500)
    assert bench.board.outputs_closed() == 0
    bench.run_ms(5000)
    assert bench.board.outputs_closed() == 0  # until the finger has come up
    bench.board.contacts["button_half"] = 0
    bench.run_ms(100)
    bench.board.contacts["button_half"] = 1
    bench.run_ms(100)
    assert bench.board.outputs_closed() == 5
    assert bench.fault_codes() == []
    for _, start, end in bench.board.closures:
        assert end - start <= 60010 * TICKS_A_MS


def test_a_long_half_press_before_full_is_no_fault():
    bench = field_bench()
    bench.board.contacts["button_half"] = 1
    bench.run_ms(20000)
    bench.press("button_full")
    bench.run_ms(3000)
    assert bench.fault_codes() == []
    assert len(frames(bench)) == 1


def test_holding_the_button_fires_once():
    bench = field_bench()
    bench.board.contacts["button_full"] = 1
    bench.run_ms(10000)
    assert bench.board.pairs == 1
    fulls = [(start, end) for output, start, end in bench.board.closures if output % 2]
    assert all(end - start == 150 * TICKS_A_MS for start, end in fulls)


def test_a_spark_is_no_press():
    bench = field_bench()
    bench.board.contacts["button_full"] = 1
    bench.run_ms(2)
    bench.board.contacts["button_full"] = 0
    bench.run_ms(1000)
    assert bench.board.pairs == 0


def test_chatter_is_one_press():
    bench = field_bench()
    for level in (1, 0, 1, 0, 1, 1, 1, 1, 1, 1, 0, 1, 0, 0, 0, 0):
        bench.board.contacts["button_full"] = level
        bench.run_ms(3)
    bench.run_ms(3000)
    assert bench.board.pairs == 1


def test_bodies_wound_by_hand_are_never_fired_by_time():
    bench = field_bench()
    bench.ok("put", values={"manual_wind": 1})
    bench.press("button_full")
    bench.run_ms(60000)
    assert bench.board.pairs == 0
    assert (1, 0) in patterns_shown(bench)
    assert (0, 1) in patterns_shown(bench)
    bench.press("wound")
    bench.run_ms(60000)  # a word that they are wound is no word to fire
    assert bench.board.pairs == 0
    bench.press("button_full")
    bench.run_ms(3000)
    assert bench.board.pairs == 1
    bench.press("button_full")
    bench.run_ms(3000)
    assert bench.board.pairs == 1


def test_the_laptop_has_the_box_while_it_is_armed():
    bench = field_bench()
    bench.ok("arm")
    bench.press("button_full")
    bench.run_ms(500)
    assert bench.board.pairs == 0
    assert [(press["half"], press["full"]) for press in bench.events_of("press")] == [(0, 1), (0, 0)]
    bench.ok("disarm")
    bench.board.contacts["button_half"] = 1
    bench.run_ms(100)
    assert bench.refused("arm") == "busy"


def test_a_watching_laptop_hears_of_every_button_and_no_body_fires():
    bench = field_bench()
    bench.ok("watch", on=1)
    for name in ("button_half", "button_full", "preset"):
        bench.press(name)
        bench.run_ms(500)
    heard = [(press["half"], press["full"], press["preset"]) for press in bench.events_of("press")]
    assert heard == [(1, 0, 0), (0, 0, 0), (0, 1, 0), (0, 0, 0), (0, 0, 1), (0, 0, 0)]
    assert bench.board.closures == []


def test_the_button_respects_the_interlock_and_the_interval():
    bench = field_bench()
    bench.board.open_interlock()
    bench.press("button_full")
    bench.run_ms(1000)
    assert bench.board.closures == []
    bench.board.interlock = True
    bench.ok("put", values={"min_interval_ms": 5000})
    bench.press("button_full")
    bench.run_ms(2500)
    bench.press("button_full")
    bench.run_ms(2000)
    assert bench.board.pairs == 1


def test_an_interlock_that_opens_under_the_finger_needs_a_new_press():
    bench = field_bench()
    bench.board.contacts["button_half"] = 1
    bench.run_ms(100)
    bench.board.open_interlock()
    bench.run_ms(100)
    assert bench.board.outputs_closed() == 0
    bench.board.interlock = True
    bench.run_ms(500)
    assert bench.board.outputs_closed() == 0


def test_a_half_press_the_host_opened_does_not_count_as_lead():
    bench = field_bench()
    bench.board.contacts["button_half"] = 1
    bench.run_ms(1000)
    bench.ok("ensure_open")
    assert bench.board.outputs_closed() == 0
    bench.run_ms(500)
    assert bench.board.outputs_closed() == 0  # until the finger has come up
    bench.board.contacts["button_full"] = 1
    pressed = bench.board.now
    bench.run_ms(1000)
    fulls = [start for output, start, _ in bench.board.closures if output == 3]
    assert 300 <= (fulls[0] - pressed) / TICKS_A_MS <= 320


def test_a_button_held_at_power_on_is_no_press():
    bench = Bench(held=("button_full", "button_half", "preset", "wound"))
    bench.run_ms(5000)
    assert bench.board.closures == []
    assert not bench.box.wound
    bench.board.contacts["button_full"] = 0
    bench.board.contacts["button_half"] = 0
    bench.run_ms(100)
    bench.press("button_full")
    bench.run_ms(2000)
    assert bench.board.pairs == 1


def test_the_field_can_be_switched_off():
    bench = field_bench()
    bench.ok("put", values={"field": 0})
    bench.press("button_full")
    bench.run_ms(2000)
    assert bench.board.closures == []


def test_presets_are_chosen_by_the_button_and_kept_over_power_off():
    bench = field_bench()
    second = dict(PRESET)
    second.update({"name": "1/60", "delay_a_ns": 0, "delay_b_ns": 2 * MS})
    bench.ok("put", preset=3, values=second)
    bench.press("preset")
    bench.run_ms(100)
    assert bench.ok("status")["preset"] == 3
    bench.run_ms(6000)
    bench.press("button_full")
    bench.run_ms(2500)
    (frame,) = frames(bench)
    assert frame["preset"] == "1/60"
    assert frame["delay_b_ns"] == 2 * MS
    again = Bench(bench.board.files)
    assert again.ok("status")["preset"] == 3
    again.press("preset")
    assert again.ok("status")["preset"] == 0


def test_choosing_among_presets_writes_flash_once():
    bench = field_bench()
    bench.ok("put", preset=1, values=dict(PRESET))
    bench.ok("put", preset=2, values=dict(PRESET))
    before = sum(bench.board.files.written.values())
    for _ in range(2):
        bench.press("preset")
    during = sum(bench.board.files.written.values())
    bench.run_ms(4000)
    assert during == before
    assert sum(bench.board.files.written.values()) > before


def test_a_full_log_is_told_and_the_frame_is_still_fired():
    bench = field_bench()
    bench.board.files.capacity = 10000
    bench.press("button_full")
    bench.run_ms(6000)
    assert bench.board.pairs == 1
    assert frames(bench) == []
    assert bench.ok("status")["unlogged"] == 1
    # Within, and then three long flashes: fired, not logged.
    assert patterns_shown(bench) == [(1, 0), (0, 1), (0, 1), (0, 1)]


def test_a_stopped_frame_is_not_blamed_on_the_bodies():
    bench = field_bench()
    bench.press("button_full")
    bench.board.open_interlock()
    bench.run_ms(4000)
    (frame,) = frames(bench)
    assert FRAME_VERDICTS[frame["verdict"]] == "not_measured"


def test_preset_and_both_delays_are_those_of_the_press():
    """Whatever comes to be in use while a frame is under way is the next one's; host and button are told to wait."""
    bench = field_bench()
    bench.ok(
        "put",
        preset=1,
        values=dict(PRESET, name="other", delay_a_ns=7 * MS, delay_b_ns=0, tolerance_ns=2 * MS),
    )
    bench.press("button_full")
    assert bench.ask("put", preset=0, values=PRESET)["error"] == "busy"
    bench.press("preset")
    assert bench.box.field.preset_place == 0
    bench.box.field.preset_place = 1
    bench.run_ms(6000)
    bench.press("button_full")
    bench.run_ms(6000)
    first, second = frames(bench)
    assert (first["preset"], first["delay_a_ns"], first["delay_b_ns"]) == ("1/125", 5 * MS, 0)
    assert first["tolerance_ns"] == MS
    assert (second["preset"], second["delay_a_ns"], second["tolerance_ns"]) == ("other", 7 * MS, 2 * MS)
    fulls = [(output, start) for output, start, _ in bench.board.closures if output % 2]
    apart = [abs(fulls[k][1] - fulls[k + 1][1]) for k in (0, 2)]
    assert apart == [5 * TICKS_A_MS, 7 * TICKS_A_MS]


def test_no_light_freezes_while_a_frame_is_logged():
    bench = field_bench()
    lit = []  # type: list[tuple[str, int, int]]
    write = bench.board.files.append

    def append(name, data):
        if name.startswith("frames"):
            last = bench.board.led_log[-1] if bench.board.led_log else (0, 0, 0)
            lit.append((name, last[1], last[2]))
        write(name, data)

    bench.board.files.append = append
    bench.board.bodies = [contact(SYNC_A, 40), contact(SYNC_B, 47)]
    bench.press("button_full")
    bench.run_ms(1300)  # the verdict, out, is still flashing at the next press
    bench.press("button_full")
    bench.run_ms(3000)
    assert len(lit) >= 4
    for name, blue, orange in lit:
        assert (blue, orange) == (0, 0), name
