"""What the contacts do while flash holds the loop up: no press is lost, and no spark becomes one."""

from coincide_firmware.app.pins import SYNC_A, SYNC_B
from tests.firmware.app.stand_in import Bench, contact
from tests.firmware.app.test_field import PRESET, field_bench, frames

STALL_LOOKS = 107  # 428 ms, the longest stall seen


def pressed_within(name, first, last):
    """Looks at the contacts over a whole stall, one of them pressed from look `first` until before look `last`."""
    return [(name,) if first <= n < last else () for n in range(STALL_LOOKS)]


def test_a_press_of_the_field_button_inside_a_stall_fires_when_the_stall_ends():
    bench = field_bench()
    for first, last in ((0, 15), (40, 55), (90, STALL_LOOKS), (50, 52)):
        before = bench.board.pairs
        bench.board.hold_up(pressed_within("button_full", first, last))
        bench.board.contacts["button_full"] = 0
        bench.run_ms(3000)
        assert bench.board.pairs == before + 1, (first, last)
    assert len(frames(bench)) == 4


def test_a_press_inside_the_stall_that_its_own_frame_makes_is_answered_with_the_light_of_a_refusal():
    bench = field_bench()
    begin = bench.box.framelog.begin

    def slow():
        bench.board.hold_up([("button_full",)] * 10 + pressed_within("button_full", 30, 45)[10:])
        return begin()

    bench.box.framelog.begin = slow
    bench.press("button_full")
    bench.box.framelog.begin = begin
    shown = [light for light in bench.board.led_log if light[1] or light[2]]
    assert [light[1:] for light in shown[:1]] == [(0, 1)]
    bench.run_ms(3000)
    assert bench.board.pairs == 1


def test_a_foot_switch_pressed_inside_a_stall_counts_as_wound():
    bench = Bench()
    bench.board.bodies = [contact(SYNC_A, 40), contact(SYNC_B, 45)]
    bench.ok("put", preset=0, values=PRESET)
    bench.ok("put", values={"manual_wind": 1})
    bench.run_ms(4000)
    bench.board.hold_up(pressed_within("wound", 30, 45))
    bench.run_ms(100)
    assert bench.box.wound
    bench.press("button_full")
    assert bench.board.pairs == 1


def test_the_preset_button_pressed_inside_a_stall_chooses_once():
    bench = field_bench()
    bench.ok("put", preset=1, values=dict(PRESET, name="1/60"))
    bench.run_ms(4000)
    bench.board.hold_up(pressed_within("preset", 30, 45))
    bench.run_ms(100)
    assert bench.box.field.preset_place == 1


def test_a_spark_inside_a_stall_is_no_press():
    bench = field_bench()
    for name in ("button_full", "button_half", "wound", "preset"):
        bench.board.hold_up(pressed_within(name, 50, 51))
        bench.run_ms(200)
    assert bench.board.pairs == 0
    assert bench.box.field.preset_place == 0
    assert not bench.box.wound
    assert bench.board.led_log == []


def test_a_press_that_chatters_inside_a_stall_is_one():
    bench = field_bench()
    looks = pressed_within("button_full", 30, 45)
    looks[32] = looks[34] = looks[46] = ()
    looks[46] = ("button_full",)
    bench.board.hold_up(looks)
    bench.run_ms(3000)
    assert bench.board.pairs == 1


def test_a_press_inside_a_stall_is_told_to_a_host_that_listens():
    bench = field_bench()
    bench.ok("status")
    bench.board.hold_up(pressed_within("button_half", 30, 45))
    bench.run_ms(100)
    assert [event["half"] for event in bench.events_of("press")] == [1, 0]
