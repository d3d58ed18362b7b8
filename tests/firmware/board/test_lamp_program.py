"""The lamp row: what a chain of shift registers shows, driven by the program in the stand-in chip."""

from itertools import pairwise

import pytest

from tests.firmware.board.emulator import PLANS
from tests.firmware.board.loading import Loaded
from tests.firmware.board.plan_words import lamp_step_ticks

HZ = 125_000_000
DATA, CLOCK, LATCH = 18, 19, 20


class Chain:
    """A shift register with latched outputs: bit 0 is the output next to the data pin."""

    def __init__(self, loaded: Loaded, length: int) -> None:
        self.loaded = loaded
        self.mask = (1 << length) - 1
        self.shifted = 0
        self.shown: list[tuple[int, int]] = [(0, 0)]
        self.clocked = 0
        self.narrowest = 1 << 30
        self.setup = 1 << 30
        self.data_changed = 0
        watch = loaded.chip.watchers
        watch[CLOCK] = [self.on_clock]
        watch[LATCH] = [self.on_latch]
        watch[DATA] = [self.on_data]

    def on_data(self, cycle: int, level: int) -> None:
        self.data_changed = cycle

    def on_clock(self, cycle: int, level: int) -> None:
        if level:
            self.setup = min(self.setup, cycle - self.data_changed)
            data = self.loaded.chip.pads >> DATA & 1
            self.shifted = (self.shifted << 1 | data) & self.mask
            self.clocked = cycle
        else:
            self.narrowest = min(self.narrowest, cycle - self.clocked)

    def on_latch(self, cycle: int, level: int) -> None:
        if level and self.shifted != self.shown[-1][1]:
            self.shown.append((cycle, self.shifted))


def run(lamps: int, step: int, rows: int, length: int = 64) -> Chain:
    loaded = Loaded()
    row = loaded.use("board.lamps").LampRow()
    chain = Chain(loaded, length)
    row.run(lamps, step, rows)
    loaded.chip.run((lamps + 2) * step * rows)
    return chain


@pytest.mark.parametrize(("lamps", "length"), [(8, 8), (8, 64), (5, 8), (2, 16)])
def test_one_lamp_after_another_each_for_exactly_the_step(lamps: int, length: int) -> None:
    step = 2_500
    chain = run(lamps, step, 1, length)
    assert [bits for _, bits in chain.shown] == [0, *(1 << n for n in reversed(range(lamps))), 0]
    lit = [cycle for cycle, _ in chain.shown[1:-1]]
    assert {b - a for a, b in pairwise(lit)} <= {step}
    # The last lamp goes out with the dark step, which shifts no lit bit: five cycles (40 ns) sooner.
    assert 0 <= step - (chain.shown[-1][0] - lit[-1]) <= 5


def test_rows_follow_each_other_and_end_dark() -> None:
    chain = run(4, 3_000, 3)
    lit = [bits for _, bits in chain.shown[1:]]
    assert lit == [8, 4, 2, 1, 0] * 3
    starts = [cycle for cycle, bits in chain.shown if bits == 8]
    assert starts[1] - starts[0] == starts[2] - starts[1]


@pytest.mark.parametrize("clock_hz", [125e6, 150e6])
def test_signals_are_slow_enough_for_the_logic(clock_hz: float) -> None:
    chain = run(8, 2_500, 1)
    # HC logic at 3.3 V: about 25 ns of clock, 20 ns of set-up (manufacturers' typical figures, from memory).
    assert chain.narrowest / clock_hz >= 40e-9 * 0.999
    assert chain.setup / clock_hz >= 33e-9


def test_step_of_every_word() -> None:
    for step in (2_500, 2_501, 125_000, 12_500_000, 15_000_000):
        assert lamp_step_ticks(PLANS.lamp_word(32, step)) == step
    assert lamp_step_ticks(PLANS.lamp_word(64, 0)) == PLANS.LAMP_STEP_FIXED_CYCLES
    assert PLANS.lamp_word(200, 0) & 127 == 64


def test_stopping_in_mid_row_leaves_it_dark() -> None:
    loaded = Loaded()
    row = loaded.use("board.lamps").LampRow()
    chain = Chain(loaded, 64)
    row.run(16, 20_000, 100)
    loaded.chip.run(100_000)
    assert chain.shown[-1][1]
    row.stop()
    assert chain.shown[-1][1] == 0
    seen = len(chain.shown)
    loaded.chip.run(1_000_000)
    assert len(chain.shown) == seen
    row.run(2, 20_000, 1)
    loaded.chip.run(100_000)
    assert [bits for _, bits in chain.shown[seen:]] == [2, 1, 0]


def test_one_row_after_another() -> None:
    loaded = Loaded()
    row = loaded.use("board.lamps").LampRow()
    chain = Chain(loaded, 64)
    for lamps in (3, 2, 4):
        seen = len(chain.shown)
        row.run(lamps, 20_000, 1)
        loaded.chip.run(200_000)
        assert [bits for _, bits in chain.shown[seen:]] == [*(1 << n for n in reversed(range(lamps))), 0]
