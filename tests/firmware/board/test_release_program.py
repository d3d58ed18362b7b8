"""The release program: offset exact, closures that end by themselves, the interlock, the hardware's own caps."""

import pytest

from tests.firmware.board.emulator import PLANS, PROGRAMS, release_run
from tests.firmware.board.loading import Loaded
from tests.firmware.board.plan_words import first_part_ticks, second_part_ticks
from tests.firmware.board.standin import asm

HZ = 125_000_000
LOOP = PLANS.closure_loop_cycles(HZ)
PROGRAM = PROGRAMS.release(LOOP)
OPEN_AT = PROGRAMS.RELEASE_OPEN_AT


def pair(delay: int, lead: int, closure: int) -> tuple[int, int]:
    words: tuple[int, int] = PLANS.pair_words(delay, lead, closure, HZ, LOOP)
    return words


@pytest.mark.parametrize("lead", [0, 1, 2, 3, 50, 51, 777, 2000])
@pytest.mark.parametrize("delay", [0, 1, 7, 64])
def test_full_press_follows_half_press_to_the_cycle(lead: int, delay: int) -> None:
    changes, _ = release_run(PROGRAM, *pair(delay, lead, 400), cycles=4000)
    (half_at, half), (full_at, full), (open_at, none) = changes
    assert (half, full, none) == (1, 3, 0)
    assert full_at - half_at == lead + delay + PLANS.FIRST_PART_FIXED_CYCLES
    assert abs(open_at - full_at - 400) <= LOOP / 2


def test_first_move_comes_at_the_same_cycle_whatever_the_words() -> None:
    starts = {release_run(PROGRAM, *pair(d, 100, 100), cycles=400)[0][0][0] for d in range(20)}
    assert len(starts) == 1


def test_offset_over_the_whole_range_is_the_commanded_one_to_the_tick() -> None:
    """Algebra: the hardware's own length of the first part, over 0 to 500 ms and leads to 2 s."""
    longest = 500 * HZ // 1000
    for lead in (0, 1, 37_500_000, 250_000_000):
        for delay in (0, 1, 2, 3, 999, 1000, 62_499_999, longest, *range(longest - 5000, longest, 617)):
            a = first_part_ticks(pair(0, lead, HZ)[1])
            b = first_part_ticks(pair(delay, lead, HZ)[1])
            assert b - a == delay


@pytest.mark.parametrize("ticks", [0, 1, 2, 999, 12_345])
def test_algebra_agrees_with_the_emulator(ticks: int) -> None:
    closure, lead = PLANS.second_part_word(1000, 3, LOOP), PLANS.first_part_word(ticks, 1)
    changes, _ = release_run(PROGRAM, closure, lead, 20_000)
    assert changes[1][0] - changes[0][0] == first_part_ticks(lead)
    assert changes[2][0] - changes[1][0] == second_part_ticks(closure, LOOP)


@pytest.mark.parametrize("offset_ns", [0, 16, 8_000, 1_234_568, 197_000_000, 500_000_000])
def test_offset_on_the_whole_chip_up_to_half_a_second(offset_ns: int) -> None:
    """Both machines in lockstep on the stand-in chip, started by the firmware as on the board."""
    loaded = Loaded()
    chip = loaded.chip
    chip.drive(15, 0)
    releases = loaded.use("board.releases").Releases(HZ)
    chip.history.clear()
    ticks = offset_ns // 8
    for delay_a, delay_b in ((0, ticks), (ticks, 0)):
        chip.history.clear()
        releases.start_pair(delay_a, delay_b, 3_000, 20_000)
        chip.run(ticks + 40_000)
        rose = {gpio: cycle for cycle, gpio, level in chip.history if level}
        assert rose[2] == rose[4]
        assert rose[5] - rose[3] == delay_b - delay_a
        assert not releases.running()


def test_closure_ends_by_itself_for_every_word() -> None:
    # Whatever Python writes, the fields hold no more: all ones is the longest there is.
    longest_first = first_part_ticks(0xFFFFFFFF)
    longest_second = second_part_ticks(0xFFFFFFFF, LOOP)
    assert longest_first / HZ < 4.3
    assert 5.0 <= longest_second / HZ < 5.3
    program_words = PROGRAM[asm.PROG_DATA]
    assert 0x6020 | PLANS.CLOSURE_COUNT_MOST.bit_length() in program_words  # out(x, 25)
    assert 0x6040 | PLANS.LEAD_COUNT_MOST.bit_length() in program_words  # out(y, 28)


@pytest.mark.parametrize("hz", [48_000_000, 125_000_000, 133_000_000, 150_000_000, 200_000_000, 220_000_000])
def test_hardware_cap_lies_just_above_five_seconds_at_every_clock(hz: int) -> None:
    loop = PLANS.closure_loop_cycles(hz)
    cap_s = second_part_ticks(0xFFFFFFFF, loop) / hz
    assert 5.0 <= cap_s < 5.8
    asked = PLANS.pair_words(0, 0, 60 * hz, hz, loop)[0]
    assert second_part_ticks(asked, loop) / hz == pytest.approx(5.0, abs=1e-6)


def test_longest_closure_on_the_whole_chip() -> None:
    loaded = Loaded()
    chip = loaded.chip
    chip.drive(15, 0)
    releases = loaded.use("board.releases").Releases(HZ)
    chip.history.clear()
    releases.start_pair(0, 0, 0, 100 * HZ)
    chip.run(6 * HZ)
    full = [cycle for cycle, gpio, _ in chip.history if gpio == 3]
    assert len(full) == 2
    assert (full[1] - full[0]) / HZ == pytest.approx(5.0, abs=1e-6)


@pytest.mark.parametrize("opens_at", range(0, 700, 11))
def test_interlock_opening_at_any_moment_opens_both_pins(opens_at: int) -> None:
    changes, counter = release_run(
        PROGRAM, *pair(10, 200, 300), cycles=900, interlock=lambda clock: int(clock >= opens_at)
    )
    closed_later = [clock for clock, pins in changes if pins and clock > opens_at + LOOP + 1]
    assert not closed_later
    opened = [clock for clock, pins in changes if pins == 0]
    if any(pins and clock <= opens_at for clock, pins in changes) and opens_at <= 500:
        # At worst one closure loop and the instruction that opens; two cycles of synchroniser come on top.
        assert min(opened) - opens_at <= LOOP + 2
    assert counter == OPEN_AT


@pytest.mark.parametrize("opens_at", [0, 5, 60])
def test_interlock_closing_again_starts_nothing(opens_at: int) -> None:
    changes, counter = release_run(
        PROGRAM,
        *pair(0, 400, 400),
        cycles=3000,
        interlock=lambda clock: int(opens_at <= clock < opens_at + 40),
    )
    assert counter == OPEN_AT
    assert all(clock < opens_at + 40 for clock, _ in changes)


def test_missing_or_stale_words_close_nothing() -> None:
    loaded = Loaded()
    chip = loaded.chip
    chip.drive(15, 0)
    releases = loaded.use("board.releases").Releases(HZ)
    chip.history.clear()
    block = chip.blocks[1]
    # Words left over, with nobody to start them: the machine sits at its end and takes none.
    block.machines[0].tx = [0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF, 0xFFFFFFFF]
    chip.run(100_000)
    assert chip.history == []
    # A start that lost its second word waits with the outputs open.
    machine = block.machines[1]
    machine.tx = [0xFFFFFFFF]
    machine.pc -= OPEN_AT
    chip.run(100_000)
    assert chip.history == []
    assert len(block.machines[0].tx) == 4
    releases.start_pair(0, 0, 1000, 4000)
    chip.run(20_000)
    assert [gpio for _, gpio, level in chip.history if level] == [2, 4, 3, 5]


def test_abort_from_python_in_every_part() -> None:
    for wait in (10, 2_000, 60_000):
        loaded = Loaded()
        chip = loaded.chip
        chip.drive(15, 0)
        releases = loaded.use("board.releases").Releases(HZ)
        releases.start_pair(0, 0, 50_000, 500_000)
        chip.run(wait)
        asked = chip.cycle
        releases.open_now()
        chip.run(100)
        assert releases.closed() == 0
        assert not releases.running()
        opened = [cycle for cycle, gpio, level in chip.history if gpio in (2, 3, 4, 5) and not level]
        assert max(opened, default=asked) - asked <= 4 * 250  # four register writes
        releases.open_now()
        assert releases.closed() == 0


def test_half_press_follows_the_finger_without_a_gap() -> None:
    loaded = Loaded()
    chip = loaded.chip
    chip.drive(15, 0)
    releases = loaded.use("board.releases").Releases(HZ)
    chip.history.clear()
    releases.hold_half(True)
    for _ in range(100):
        chip.run(HZ // 10)
        releases.tend()
    assert [(gpio, level) for _, gpio, level in chip.history] == [(2, 1), (4, 1)]
    assert not releases.busy()
    # Into the shot without letting go of the half-press.
    releases.start_pair(0, 1000, 2000, 20_000)
    chip.run(60_000)
    assert [(gpio, level) for _, gpio, level in chip.history[2:4]] == [(3, 1), (5, 1)]
    assert releases.closed() == 0


def test_half_press_lets_go_when_python_hangs() -> None:
    loaded = Loaded()
    chip = loaded.chip
    chip.drive(15, 0)
    releases = loaded.use("board.releases").Releases(HZ)
    chip.history.clear()
    releases.hold_half(True)
    chip.run(12 * HZ)
    (down, _, _), _, (up, _, _), _ = chip.history
    assert 9.0 < (up - down) / HZ < 9.5


def test_hold_with_the_interlock_open_closes_nothing() -> None:
    loaded = Loaded()
    chip = loaded.chip
    chip.drive(15, 1)
    releases = loaded.use("board.releases").Releases(HZ)
    chip.history.clear()
    releases.hold_half(True)
    releases.start_pair(0, 0, 100, 100)
    releases.start_pulse(3, 1000)
    chip.run(10_000)
    assert chip.history == []


@pytest.mark.parametrize("output", range(4))
def test_pulse_closes_one_output_once(output: int) -> None:
    loaded = Loaded()
    chip = loaded.chip
    chip.drive(15, 0)
    releases = loaded.use("board.releases").Releases(HZ)
    chip.history.clear()
    releases.start_pulse(output, 125_000)
    chip.run(200_000)
    (up, gpio, _), (down, other, _) = chip.history
    assert gpio == other == 2 + output
    assert abs(down - up - 125_000) <= LOOP
    assert not releases.busy()
