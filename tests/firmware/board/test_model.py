"""The model of the PIO blocks behaves, state by state, as the published emulator does."""

import random
from collections import deque
from typing import Any

import pytest
from pioemu import ShiftRegister, State, emulate

from tests.firmware.board.emulator import PROGRAMS, SAMPLER, wraps
from tests.firmware.board.standin import asm, pio
from tests.firmware.board.standin.chip import Chip


def model_states(machine: pio.Machine, pins: list[int], cycles: int) -> list[tuple[int, ...]]:
    """(clock, pc, x, y, isr, osr, outputs) before every instruction."""
    out: list[tuple[int, ...]] = []
    machine.enabled = True
    for clock in range(cycles):
        machine.block.inputs = pins[clock]
        if machine.delay == 0:
            out.append(
                (clock, machine.pc, machine.x, machine.y, machine.isr, machine.osr, machine.block.outputs)
            )
        machine.block.step()
        machine.rx = []
    return out


def emulator_states(
    program: list[int], state: State, pins: list[int], cycles: int, **options: Any
) -> list[tuple[int, ...]]:
    def source(clock: int) -> int:
        return pins[clock]

    out: list[tuple[int, ...]] = []
    for before, after in emulate(
        program,
        stop_when=lambda _, s: s.clock >= cycles,
        initial_state=state,
        input_source=source,
        **options,
    ):
        out.append(
            (
                before.clock,
                before.program_counter,
                before.x_register,
                before.y_register,
                before.input_shift_register.contents,
                before.output_shift_register.contents,
                before.pin_values & 3,
            )
        )
        after.receive_fifo.clear()
    return out


@pytest.mark.parametrize("seed", range(5))
def test_sampler_in_the_model_equals_the_published_emulator(seed: int) -> None:
    chance = random.Random(seed)
    pins = [0] * 600
    level = 0
    for clock in range(600):
        if chance.random() < 0.08:
            level ^= 1 << chance.randrange(11)
        pins[clock] = level
    target, top = wraps(SAMPLER)
    block = pio.Block()
    words = SAMPLER[asm.PROG_DATA]
    block.memory[: len(words)] = words
    machine = block.machines[0]
    machine.in_right, machine.join = False, 2
    machine.wrap_bottom, machine.wrap_top, machine.pc = target, top, target - seed % 3
    machine.isr = 5  # so that the counter wraps on the way
    ours = model_states(machine, pins, 600)
    state = State(program_counter=target - seed % 3, input_shift_register=ShiftRegister(5, 0))
    theirs = emulator_states(words, state, pins, 600, shift_isr_right=False, wrap_target=target, wrap_top=top)
    assert [s[:6] for s in ours] == [s[:6] for s in theirs]
    assert len(ours) > 300


@pytest.mark.parametrize("opens_at", [None, 3, 40, 90, 200])
def test_release_in_the_model_equals_the_published_emulator(opens_at: int | None) -> None:
    pins = [(1 << 15) if opens_at is not None and clock >= opens_at else 0 for clock in range(500)]
    program = PROGRAMS.release(19)
    words = program[asm.PROG_DATA]
    target, top = wraps(program)
    feed = [3 | 7 << 2, 1 | 30 << 1 | 1 << 29]
    block = pio.Block()
    block.memory[: len(words)] = words
    machine = block.machines[0]
    machine.wrap_bottom, machine.wrap_top = target, top
    machine.out_count = machine.set_count = 2
    machine.jmp_pin = 15
    machine.tx = list(feed)
    ours = model_states(machine, pins, 500)
    theirs = emulator_states(
        words,
        State(pin_directions=3, transmit_fifo=deque(feed)),
        pins,
        500,
        out_count=2,
        set_count=2,
        jmp_pin=15,
        wrap_target=target,
        wrap_top=top,
    )
    assert ours == theirs


def test_leaping_over_counting_loops_changes_nothing() -> None:
    ends = []
    for leaps in (True, False):
        chip = Chip()
        chip.leaps = leaps
        block = chip.blocks[1]
        program = PROGRAMS.release(19)
        words = program[asm.PROG_DATA]
        block.memory[: len(words)] = words
        for number in (0, 1):
            machine = block.machines[number]
            machine.wrap_bottom, machine.wrap_top = wraps(program)
            machine.out_base = machine.set_base = 2 + 2 * number
            machine.out_count = machine.set_count = 2
            machine.jmp_pin = 15
            machine.tx = [3 | 400 << 2, number | 5000 + 77 * number << 1 | 1 << 29]
            for gpio in (2 + 2 * number, 3 + 2 * number):
                chip.give(gpio, 7)
            block.dirs |= 3 << 2 + 2 * number
        block.enable(3)
        chip.run(40000)
        ends.append((chip.history, chip.cycle))
    assert ends[0] == ends[1]
    assert len(ends[0][0]) >= 8


def test_joined_fifo_holds_eight_words_then_drops_and_tells() -> None:
    block = pio.Block()
    machine = block.machines[2]
    machine.join = 2
    push = 0x8000
    for n in range(8):
        machine.isr = n
        machine.run(push)
    assert machine.rx == list(range(8))
    assert block.fdebug == 0
    machine.isr = 8
    assert machine.run(push) == (True, None)
    assert machine.rx == list(range(8))
    assert block.fdebug == 1 << 2
    assert machine.isr == 0
