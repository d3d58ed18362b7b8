"""Runs the firmware's PIO programs in the published cycle-accurate emulator, machine by machine.

`pioemu` steps one machine and knows neither joined FIFOs nor `in_base`. Machines of one block share
nothing but the pins, so each is run by itself on the same pin levels from the same cycle; the input
pins come already shifted to the sampler's base; and its FIFO is emptied every step, as DMA does.
"""

from collections import deque
from collections.abc import Callable
from typing import Any

from pioemu import ShiftRegister, State, emulate

from tests.firmware.board.loading import Loaded
from tests.firmware.board.standin import asm

Record = tuple[int, int, int]
Levels = Callable[[int], int]

PROGRAMS = Loaded().use("board.programs")
SAMPLING = Loaded().use("board.sampling")
PLANS = Loaded().use("board.plans")
SAMPLER = PROGRAMS.sampler
CHANNELS = PROGRAMS.PIN_COUNT
ALL_ONES = 0xFFFFFFFF


def wraps(program: Any) -> tuple[int, int]:
    """(wrap target, wrap top) of an assembled program."""
    execctrl = program[asm.PROG_EXECCTRL]
    return execctrl >> 7 & 31, execctrl >> 12 & 31


def sampler_words(
    machine: int,
    levels: Levels,
    cycles: int,
    isr: int = ALL_ONES,
    x: int = 0,
    drained: bool = True,
    looks: list[int] | None = None,
) -> list[int]:
    """All words one sampler machine pushes in `cycles`; `looks` receives the clock of every look."""
    target, top = wraps(SAMPLER)
    state = State(program_counter=target - machine, input_shift_register=ShiftRegister(isr, 0), x_register=x)

    def source(clock: int) -> int:
        return levels(clock)

    words: list[int] = []
    fifo: deque[int] = deque()
    for before, after in emulate(
        SAMPLER[asm.PROG_DATA],
        stop_when=lambda _, state: state.clock >= cycles,
        initial_state=state,
        input_source=source,
        shift_isr_right=False,
        shift_osr_right=True,
        wrap_target=target,
        wrap_top=top,
    ):
        if looks is not None and before.program_counter == target:
            looks.append(before.clock)
        fifo = after.receive_fifo
        while drained and fifo:
            words.append(fifo.popleft())
    words.extend(fifo)
    return words


def sampled_edges(levels: Levels, cycles: int, start: int = 0) -> list[Record]:
    """(channel, level, tick) as the box would report them; `start` are the levels before cycle 0."""
    merger = SAMPLING.Merger(PROGRAMS.PHASES, CHANNELS, 0, 0, start)
    for machine in range(3):
        words = sampler_words(machine, levels, cycles, x=start)
        for at in range(0, len(words) - 1, 2):
            merger.take_all(machine, (words[at] & 0xFFFF, words[at] >> 16, words[at + 1], 0), 0)
    edges: list[Record] = []
    merger.emit(lambda *edge: edges.append(edge), True)
    return edges


def release_run(
    program: Any, closure_word: int, lead_word: int, cycles: int, interlock: Levels | None = None
) -> tuple[list[tuple[int, int]], int]:
    """(changes of the two pins as (cycle, levels), last program counter) of one release machine."""
    target, top = wraps(program)
    levels = interlock or (lambda clock: 0)

    def source(clock: int) -> int:
        return levels(clock) << 15

    changes: list[tuple[int, int]] = []
    counter = 0
    state = State(pin_directions=3, transmit_fifo=deque([closure_word, lead_word]))
    for before, after in emulate(
        program[asm.PROG_DATA],
        stop_when=lambda _, state: state.clock >= cycles,
        initial_state=state,
        input_source=source,
        shift_osr_right=True,
        out_base=0,
        out_count=2,
        set_base=0,
        set_count=2,
        jmp_pin=15,
        wrap_target=target,
        wrap_top=top,
    ):
        counter = after.program_counter
        pins = after.pin_values & 3
        if pins != before.pin_values & 3:
            # The pins move in the cycle in which the instruction runs.
            changes.append((before.clock, pins))
    return changes, counter
