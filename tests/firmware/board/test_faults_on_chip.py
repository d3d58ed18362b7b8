"""Hangs and power cuts on the stand-in chip, at every part of a shot: the pins are let go in time, the next start
knows why."""

from typing import Any

import pytest

from tests.firmware.board.loading import Loaded
from tests.firmware.board.standin.chip import Reset
from tests.firmware.board.test_main import HZ, RELEASES, bench, received, send, stopping

FIRE = {
    "id": 2,
    "do": "fire",
    "shot": 1,
    "delay_b_ns": 20_000_000,
    "lead_ns": 60_000_000,
    "closure_ns": 4_000_000_000,
    "window_ns": 50_000_000,
}
SIGNS_OF_LIFE_S = (1, 2, 3, 4, 5)


def firing() -> Loaded:
    """A box that is armed at 0.1 s and fires a pair of four seconds at 0.2 s."""
    loaded = bench()
    loaded.chip.at(HZ // 10, lambda: send(loaded, {"id": 1, "do": "arm", "timeout_ms": 20_000}))
    loaded.chip.at(HZ // 5, lambda: send(loaded, FIRE))
    for second in SIGNS_OF_LIFE_S:
        loaded.chip.at(HZ // 5 + second * HZ, lambda: send(loaded, {"id": 3, "do": "status"}))
    return loaded


def longest_closure_s(loaded: Loaded, gpio: int) -> float:
    """The longest time a pin was high."""
    longest = 0
    since = None
    for cycle, pin, level in loaded.chip.history:
        if pin == gpio and level:
            since = cycle
        elif pin == gpio and since is not None:
            longest = max(longest, cycle - since)
            since = None
    assert since is None, f"pin {gpio} is still high"
    return longest / HZ


def started_again(loaded: Loaded) -> list[dict[str, Any]]:
    """The next start of the same box: what it says in its first half second, asked who it is and for its record."""
    loaded.power_up()
    loaded.chip.events.clear()
    loaded.peer.from_box = bytearray()
    loaded.peer.to_box = bytearray()
    before = len(loaded.chip.history)
    send(loaded, {"id": 8, "do": "identify"})
    send(loaded, {"id": 9, "do": "crash"})
    stopping(loaded, 500, KeyboardInterrupt())
    with pytest.raises(Reset):
        loaded.use("main")
    assert [move for move in loaded.chip.history[before:] if move[1] in RELEASES and move[2]] == []
    return received(loaded)


HANGING = (
    "read_edges",
    "outputs_closed",
    "interlock_closed",
    "pressed",
    "lights",
    "serial_read",
    "serial_write",
    "outputs_busy",
    "idle",
)


@pytest.mark.parametrize("where", HANGING)
def test_hang_in_every_call_of_the_board_ends_with_the_watchdog_and_is_recorded(where: str) -> None:
    loaded = firing()
    chip = loaded.chip
    board = loaded.use("board.pico").Board
    plain = getattr(board, where)
    begun: list[int] = []

    def hangs(self: Any, *arguments: Any) -> Any:
        if chip.cycle > HZ * 4 // 10:  # both full-presses are closed
            begun.append(chip.cycle)
            chip.run(60 * HZ)
        return plain(self, *arguments)

    setattr(board, where, hangs)
    with pytest.raises(Reset, match="watchdog"):
        loaded.use("main")
    assert len(begun) == 1
    assert chip.cycle - begun[0] <= 5.01 * HZ
    for gpio in RELEASES:
        assert longest_closure_s(loaded, gpio) < 5.1
    said = started_again(loaded)
    who = next(record["ok"] for record in said if record.get("re") == 8)
    assert who["board"]["reset_cause"] == "watchdog"
    assert who["boot"] == 2
    record = next(record["ok"]["crash"] for record in said if record.get("re") == 9)
    assert record["doing"] == "watchdog"
    assert record["boot"] == 2
    assert [event["code"] for event in said if event.get("is") == "fault"] == ["reset"]


@pytest.mark.parametrize(
    "cut_ms", [150, 199, 201, 230, 259, 261, 270, 281, 400, 2000, 4200, 4261, 4275, 4300, 4400]
)
def test_brown_out_at_every_part_of_a_shot_releases_the_pins(cut_ms: int) -> None:
    loaded = firing()
    chip = loaded.chip

    def cut() -> None:
        chip.power_on_state()
        chip.reset_cause, chip.reset_reason, chip.scratch = 1, 0, 0
        chip.over = Reset("power")
        raise chip.over

    chip.at(HZ * cut_ms // 1000, cut)
    with pytest.raises(Reset, match="power"):
        loaded.use("main")
    assert chip.cycle < HZ * (cut_ms + 5) // 1000
    for gpio in RELEASES:
        longest_closure_s(loaded, gpio)  # none is high any more
    said = started_again(loaded)
    who = next(record["ok"] for record in said if record.get("re") == 8)
    assert who["board"]["reset_cause"] == "power"
    assert who["boot"] == 2
    assert next(record["ok"]["crash"] for record in said if record.get("re") == 9) is None


@pytest.mark.parametrize("chip", ["RP2040", "RP2350"])
@pytest.mark.parametrize(("pressed_ms", "pairs"), [(60, 2), (3, 1)])
def test_a_press_that_lies_wholly_inside_a_flash_stall_is_answered(
    pressed_ms: int, pairs: int, chip: str
) -> None:
    """A pair is fired in the field; flash takes 430 ms for its verdict, and the button is pressed and let go meanwhile:
    the next pair fires when flash is done. A spark of 3 ms is no press."""
    loaded = bench(chip=chip)
    machine = loaded.chip
    stalls: list[int] = []

    def press(ms: int) -> None:
        machine.drive(14, 0)
        machine.run(ms * HZ // 1000)
        machine.drive(14, None)

    def stall() -> None:
        if not stalls:
            stalls.append(machine.cycle)
            machine.run(HZ // 5)
            press(pressed_ms)
            machine.run(stalls[0] + HZ * 43 // 100 - machine.cycle)

    machine.at(HZ // 2, lambda: machine.drive(14, 0))
    machine.at(HZ * 56 // 100, lambda: machine.drive(14, None))
    machine.at(
        HZ, lambda: setattr(loaded.files, "stall", stall)
    )  # what is written next is the end of its entry
    stopping(loaded, 6500, KeyboardInterrupt())
    with pytest.raises(Reset):
        loaded.use("main")
    closings_s = [cycle / HZ for cycle, gpio, level in machine.history if gpio == 3 and level]
    assert len(closings_s) == pairs
    assert all(stalls[0] / HZ + 0.43 < at_s < stalls[0] / HZ + 1.2 for at_s in closings_s[1:])
