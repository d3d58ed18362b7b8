"""The board layer against a model of the RP2040 that is not ours: every register it writes does there what it should.

Our own stand-in could share a misreading of the datasheet with the firmware; this one cannot.
"""

from __future__ import annotations

from itertools import groupby, pairwise
from typing import Any

import pytest

from tests.firmware.board.other_chip import OtherChip, loaded_on

HZ = 125_000_000
OUTPUTS = range(2, 6)
INTERLOCK = 15
Edge = tuple[int, int, int]


class Rig:
    """Sampler and releases on the other chip, inputs idle, interlock closed."""

    def __init__(self) -> None:
        self.chip = OtherChip()
        for gpio in range(6, 12):
            self.chip.drive(gpio, 1)
        self.chip.drive(INTERLOCK, 0)
        self.loaded = loaded_on(self.chip)
        rings = self.loaded.use("board.memory").Rings()
        self.sampler: Any = self.loaded.use("board.sampler").Sampler(HZ, False, rings)
        self.start = self.chip.cycle
        self.releases: Any = self.loaded.use("board.releases").Releases(HZ)
        self.chip.run(50)

    def outputs(self) -> tuple[int, ...]:
        return tuple(self.chip.output(gpio) for gpio in OUTPUTS)

    def edges(self) -> list[Edge]:
        found: list[Edge] = []
        while self.sampler.pending():
            assert self.sampler.drain(lambda *edge: found.append(edge)) == 0
        return found

    def moves(self, cycles: int) -> list[tuple[int, tuple[int, ...]]]:
        """(cycle, outputs) whenever an output changes, for so long."""
        seen = [(0, self.outputs())]
        for cycle in range(1, cycles + 1):
            self.chip.run(1)
            if self.outputs() != seen[-1][1]:
                seen.append((cycle, self.outputs()))
        return seen


def test_machines_start_with_every_output_low_and_driven() -> None:
    rig = Rig()
    assert rig.outputs() == (0, 0, 0, 0)
    assert not rig.releases.running()
    assert rig.releases.interlock_closed()


def test_edges_reach_the_ring_by_dma_with_their_ticks() -> None:
    rig = Rig()
    driven: list[Edge] = []
    edges = ((300, 6, 0), (301, 9, 0), (302, 6, 1), (303, 11, 0), (12, 10, 0), (97, 9, 1), (500, 11, 1))
    for gap, gpio, level in edges:
        rig.chip.run(gap)
        rig.chip.drive(gpio, level)
        driven.append((gpio - 2, 1 - level, rig.chip.cycle - rig.start))
    rig.chip.run(100)
    found = rig.edges()
    assert [edge[:2] for edge in found] == [edge[:2] for edge in driven]
    # That model has no synchroniser at the pins: the look comes 0 or 1 cycle after the edge.
    for seen, real in zip(found, driven, strict=True):
        assert 0 <= seen[2] - real[2] <= 1, (seen, real)


def test_ring_wraps_where_dma_wraps_it_and_nothing_is_lost() -> None:
    rig = Rig()
    count = 0
    for _ in range(5):
        begun = rig.chip.cycle
        for n in range(500):
            rig.chip.drive(6, n % 2)
            rig.chip.run(25)
        rig.chip.run(50)
        found = rig.edges()
        assert len(found) == 500
        ticks = [edge[2] for edge in found]
        assert all(24 <= b - a <= 26 for a, b in pairwise(ticks))
        assert 0 <= ticks[0] - (begun - rig.start) <= 1
        count += len(found)
    assert count == 2500 > 2 * 1024


@pytest.mark.parametrize(("delay_a", "delay_b"), [(0, 0), (0, 501), (777, 0), (3, 4)])
def test_pair_leaves_as_commanded(delay_a: int, delay_b: int) -> None:
    rig = Rig()
    rig.releases.start_pair(delay_a, delay_b, 1000, 4000)
    assert rig.releases.busy()
    moves = rig.moves(7000)
    closed = {gpio: next(cycle for cycle, levels in moves if levels[gpio]) for gpio in range(4)}
    opened = {
        gpio: next(c for c, levels in moves if c > closed[gpio] and not levels[gpio]) for gpio in range(4)
    }
    assert closed[0] == closed[2]
    assert closed[3] - closed[1] == delay_b - delay_a
    assert closed[1] - closed[0] == 1000 + delay_a + 5
    for half, full in ((0, 1), (2, 3)):
        assert opened[half] == opened[full]
        assert abs(opened[full] - closed[full] - 4000) <= 10
    assert moves[-1][1] == (0, 0, 0, 0)
    assert not rig.releases.busy()


@pytest.mark.parametrize("output", range(4))
def test_pulse_closes_its_output_alone(output: int) -> None:
    rig = Rig()
    rig.releases.start_pulse(output, 2000)
    seen = {levels for _, levels in rig.moves(2500)}
    assert seen == {(0, 0, 0, 0), tuple(int(n == output) for n in range(4))}


@pytest.mark.parametrize("at", [2, 500, 1004, 1010, 2500, 4000])
@pytest.mark.parametrize("how", ["interlock", "python"])
def test_every_part_of_a_pair_is_opened_by_the_interlock_and_by_python(how: str, at: int) -> None:
    rig = Rig()
    rig.releases.start_pair(0, 300, 1000, 8000)
    rig.chip.run(at)
    if how == "interlock":
        rig.chip.drive(INTERLOCK, 1)
        rig.chip.run(24)
    else:
        rig.releases.open_now()
        rig.chip.run(2)
    assert rig.outputs() == (0, 0, 0, 0)
    rig.chip.drive(INTERLOCK, 0)
    assert [levels for _, levels in rig.moves(3000)] == [(0, 0, 0, 0)]
    if at > 2:
        # Sooner, a word is left in the FIFO, which that model does not empty when its joining changes.
        rig.releases.start_pair(0, 0, 10, 1000)
        assert (1, 1, 1, 1) in [levels for _, levels in rig.moves(500)]


@pytest.mark.parametrize("missing", [(), (3,), (2, 5), (2, 3, 4, 5)])
def test_pull_downs_are_seen_and_the_pins_go_back_to_their_machines(missing: tuple[int, ...]) -> None:
    rig = Rig()
    for gpio in OUTPUTS:
        rig.chip.drive(gpio, int(gpio in missing))  # the chip's own pull-up has its way
    assert rig.loaded.use("board.pull_downs").held("RP2040") == 15 & ~sum(1 << gpio - 2 for gpio in missing)
    assert rig.outputs() == (0, 0, 0, 0)
    rig.releases.start_pulse(1, 500)
    seen = rig.moves(2000)
    assert [outputs for _, outputs in seen[1:]] == [(0, 1, 0, 0), (0, 0, 0, 0)] or [
        outputs for _, outputs in seen
    ] == [(0, 1, 0, 0), (0, 0, 0, 0)]


def test_held_half_press_is_renewed_without_opening() -> None:
    rig = Rig()
    rig.releases.hold_half(True)
    rig.chip.run(3000)
    assert rig.outputs() == (1, 0, 1, 0)
    rig.releases._renew_hold()
    assert [levels for _, levels in rig.moves(1000)] == [(1, 0, 1, 0)]
    rig.releases.hold_half(False)
    rig.chip.run(2)
    assert rig.outputs() == (0, 0, 0, 0)


def test_lamp_row_is_fed_by_dma_and_ends_dark() -> None:
    rig = Rig()
    row = rig.loaded.use("board.lamps").LampRow()
    row.run(3, 1500, 2)
    latched = 0
    before = 0
    for _ in range(2 * 4 * 1500 + 4000):
        rig.chip.run(1)
        level = rig.chip.output(20)
        latched += level > before
        before = level
    assert latched == 2 * 4  # three lamps and the dark, twice
    assert not row._dma.active()
    assert rig.outputs() == (0, 0, 0, 0)


def test_watchdog_words_are_where_the_firmware_looks() -> None:
    chip = OtherChip()
    registers = loaded_on(chip).use("board.registers")
    watchdog = chip.mcu.find_peripheral(registers.WATCHDOG_BASES["RP2040"])
    registers.mark_rescue("RP2040")
    assert watchdog.scratch_data[0] == registers.RESCUE_MARK
    assert registers.rescue_was_asked("RP2040")
    assert watchdog.scratch_data[0] == 0
    registers.mark_restart("RP2040")
    assert not registers.rescue_was_asked("RP2040")
    assert registers.restart_was_meant("RP2040")
    watchdog._reason = 1
    assert not registers.reset_was_forced("RP2040")
    watchdog._reason = 2
    assert registers.reset_was_forced("RP2040")
    chip.store(registers.WATCHDOG_BASES["RP2040"], 1 << 30)
    assert watchdog.timer.enable
    registers.stop_watchdog("RP2040")
    assert not watchdog.timer.enable


def test_looks_at_the_contacts_reach_their_ring_and_go_round_in_it() -> None:
    chip = OtherChip()
    chip.freq = 4000  # so that the machine's divider is one and a look is sixteen cycles
    contacts = {"button_half": 13, "button_full": 14, "wound": 21, "preset": 22}
    for gpio in range(13, 29):
        chip.drive(gpio, 1)
    loaded = loaded_on(chip)
    pin = loaded.use("machine").Pin
    for gpio in contacts.values():
        pin(gpio, pin.IN, pin.PULL_UP)
    presses = loaded.use("board.presses").Presses(False, loaded.use("board.memory").Rings())
    chip.run(16 * 10)
    assert set(presses.missed()) == {0}
    for gpio in contacts.values():
        chip.drive(gpio, 0)
        chip.run(16 * 3)
        chip.drive(gpio, 1)
        chip.run(16 * 2)
    looks = bytes(presses.missed())
    assert [mask for mask, _ in groupby(looks) if mask] == [1, 2, 4, 8]
    assert all(2 <= looks.count(mask) <= 4 for mask in (1, 2, 4, 8)), looks
    chip.run(16 * 2)
    assert presses.missed() == b""  # asked a moment ago
    # Longer away than the ring holds: the newest second.
    chip.run(16 * 300)
    chip.drive(14, 0)
    chip.run(16 * 100)
    looks = bytes(presses.missed())
    assert len(looks) == 255
    assert looks.count(2) == pytest.approx(100, abs=2)
    assert looks.endswith(b"\2")
