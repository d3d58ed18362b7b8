"""The board layer on somebody else's model of the RP2040: the peripherals of `rp2040py`, without its processor.

Every register the firmware writes or reads is theirs. MicroPython's classes are played at the level of registers too,
as its source does it. That model ignores joined FIFOs and reads no output back at the pins; inputs and outputs are
asked for one by one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from rp2040py.rp2040 import RP2040

from tests.firmware.board.loading import Loaded
from tests.firmware.board.standin import asm
from tests.firmware.board.standin.modules import Namespace

IO_CTRL = 0x40014004
PADS, PAD_INPUT_ENABLE, PAD_OUTPUT_DISABLE = 0x4001C004, 0x40, 0x80
SIO_OUT_SET, SIO_OUT_CLR, SIO_OE_SET, SIO_OE_CLR = 0xD0000014, 0xD0000018, 0xD0000024, 0xD0000028
SIO_FUNCTION, PIO0_FUNCTION = 5, 6
PIO_BASES = (0x50200000, 0x50300000)
INSTR_MEM0, SM_STRIDE = 0x048, 0x18
CLKDIV, EXECCTRL, SHIFTCTRL, INSTR, PINCTRL = 0x0C8, 0x0CC, 0x0D0, 0x0D8, 0x0DC
DMA_BASE, DMA_START, DMA_ABORT = 0x50000000, 0x430, 0x444
SRAM = 0x20000000
RAM = 0x20010000
CYCLE_NS = 8.0


class OtherChip:
    """The model, its memory and its clock; `run(cycles)` lets both PIO blocks and the DMA work."""

    def __init__(self) -> None:
        self.mcu: Any = RP2040()
        self.mcu.simulator = self  # type: ignore[assignment]  # somebody steps the blocks: we do
        self.freq = 125_000_000
        self.cycle = 0
        self.free = RAM
        self.used = [0, 0]
        self.claimed = 0

    def run(self, cycles: int) -> None:
        for _ in range(cycles):
            for block in self.mcu.pio:
                block.step()
            self.mcu.clock.tick(CYCLE_NS)
            self.cycle += 1

    def load(self, address: int) -> int:
        return int(self.mcu.read_uint32(address)) & 0xFFFFFFFF

    def store(self, address: int, word: int) -> None:
        self.mcu.write_uint32(address, word & 0xFFFFFFFF)

    def drive(self, gpio: int, level: int) -> None:
        self.mcu.gpio[gpio].set_input_value(bool(level))

    def output(self, gpio: int) -> int:
        """What the chip itself puts on a pin: 1, 0, or -1 where it drives nothing."""
        pin = self.mcu.gpio[gpio]
        return int(bool(pin.output_value)) if pin.output_enable else -1

    def give(self, gpio: int, function: int) -> None:
        """As the chip's development kit hands a pin over: its input enabled, its output not disabled."""
        pad = PADS + 4 * gpio
        self.store(pad, self.load(pad) & ~PAD_OUTPUT_DISABLE | PAD_INPUT_ENABLE)
        self.store(IO_CTRL + 8 * gpio, function)

    def load_program(self, number: int, words: list[int]) -> int:
        size = len(words)
        for offset in range(32 - size, -1, -1):
            mask = (1 << size) - 1 << offset
            if not self.used[number] & mask:
                self.used[number] |= mask
                for n, word in enumerate(words):
                    self.store(
                        PIO_BASES[number] + INSTR_MEM0 + 4 * (offset + n),
                        word + (offset if word >> 13 == 0 else 0),
                    )
                return offset
        raise OSError(12)


def loaded_on(chip: OtherChip) -> Loaded:
    """The firmware, to be imported against that model."""
    loaded = Loaded()
    plain = loaded._modules["machine"]
    pin = _pin_class(chip)

    class Mem32:
        def __getitem__(self, address: int) -> int:
            return chip.load(address)

        def __setitem__(self, address: int, word: int) -> None:
            chip.store(address, word)

    class Mem16:
        def __getitem__(self, address: int) -> int:
            return chip.load(address) & 0xFFFF

    places: list[tuple[object, int]] = []

    def addressof(thing: bytearray) -> int:
        for other, at in places:
            if other is thing:
                return at
        at = chip.free
        chip.free += len(thing) + 15 & ~15
        places.append((thing, at))
        return at

    def ticks(per_second: int) -> Callable[[], int]:
        return lambda: chip.cycle * per_second // chip.freq % (1 << 30)

    loaded._modules["machine"] = Namespace(
        Pin=pin,
        mem16=Mem16(),
        mem32=Mem32(),
        freq=lambda: chip.freq,
        reset_cause=lambda: 1,
        WDT_RESET=3,
        unique_id=plain.unique_id,
    )
    loaded._modules["rp2"] = Namespace(
        asm_pio=asm.asm_pio, PIO=asm.PIO, StateMachine=_machine_class(chip), DMA=_dma_class(chip)
    )
    loaded._modules["uctypes"] = Namespace(
        addressof=addressof,
        bytearray_at=lambda at, size: chip.mcu.sram[at - SRAM : at - SRAM + size],
    )
    loaded._modules["time"] = Namespace(
        ticks_ms=ticks(1000),
        ticks_us=ticks(1_000_000),
        ticks_diff=lambda a, b: (a - b + (1 << 29)) % (1 << 30) - (1 << 29),
        sleep_ms=lambda ms: chip.run(ms * chip.freq // 1000),
    )
    return loaded


def _pin_class(chip: OtherChip) -> type:
    class Pin:
        IN, OUT, PULL_UP, PULL_DOWN = 0, 1, 1, 2

        def __init__(self, gpio: int, mode: int = -1, pull: int = -1, value: int | None = None) -> None:
            self.gpio = gpio
            if value is not None:
                chip.store(SIO_OUT_SET if value else SIO_OUT_CLR, 1 << gpio)
            if mode >= 0:
                chip.store(SIO_OE_SET if mode == Pin.OUT else SIO_OE_CLR, 1 << gpio)
                chip.give(gpio, SIO_FUNCTION)

        def value(self, level: int | None = None) -> int:
            if level is None:
                return int(bool(chip.mcu.gpio[self.gpio].input_value))
            chip.store(SIO_OUT_SET if level else SIO_OUT_CLR, 1 << self.gpio)
            return level

    return Pin


def _machine_class(chip: OtherChip) -> type:
    class StateMachine:
        def __init__(self, number: int, program: list[Any], **bases: Any) -> None:
            block = number >> 2
            at = PIO_BASES[block] + SM_STRIDE * (number & 3)
            field = asm.PROG_OFFSET_PIO0 + block
            if program[field] < 0:
                program[field] = chip.load_program(block, list(program[asm.PROG_DATA]))
            offset = program[field]
            execctrl = program[asm.PROG_EXECCTRL] + (offset << 12) + (offset << 7)
            pinctrl = 0
            if "in_base" in bases:
                pinctrl |= bases["in_base"].gpio << 15
            if "jmp_pin" in bases:
                execctrl |= bases["jmp_pin"].gpio << 24
            groups = (("out_base", asm.PROG_OUT_PINS, 0, 20), ("set_base", asm.PROG_SET_PINS, 5, 26))
            side = (("sideset_base", asm.PROG_SIDESET_PINS, 10, 29),)
            chip.store(PIO_BASES[block] + 0x3000, 1 << (number & 3))
            freq = bases.get("freq", chip.freq)
            chip.store(at + CLKDIV, chip.freq * 256 // freq << 8 & 0xFFFFFFFF)
            pins: list[tuple[int, int]] = []
            for name, place, base_bit, count_bit in groups + side:
                states = program[place]
                if name in bases and states is not None:
                    pinctrl |= bases[name].gpio << base_bit | len(states) << count_bit
                    pins += [(bases[name].gpio + n, state) for n, state in enumerate(states)]
            chip.store(at + EXECCTRL, execctrl)
            chip.store(at + SHIFTCTRL, program[asm.PROG_SHIFTCTRL])
            for gpio, state in pins:
                # Level and direction of one pin by `set`, then the pin is the block's.
                chip.store(at + PINCTRL, 1 << 26 | gpio << 5)
                chip.store(at + INSTR, 0xE000 | state & 1)
                chip.store(at + INSTR, 0xE080 | state >> 1)
                chip.give(gpio, PIO0_FUNCTION + block)
            chip.store(at + PINCTRL, pinctrl)
            chip.store(at + INSTR, offset)

    return StateMachine


def _dma_class(chip: OtherChip) -> type:
    class DMA:
        def __init__(self) -> None:
            self.channel = chip.claimed
            chip.claimed += 1
            self.at = DMA_BASE + 0x40 * self.channel

        def pack_ctrl(self, **fields: int) -> int:
            places = {"high_pri": 1, "size": 2, "inc_read": 4, "inc_write": 5, "ring_size": 6, "ring_sel": 10}
            places |= {"treq_sel": 15}
            word = 1 | self.channel << 11 | 1 << 21
            for name, value in fields.items():
                word |= int(value) << places[name]
            return word

        def config(
            self, read: int, write: int, ctrl: int, count: int | None = None, trigger: bool = False
        ) -> None:
            chip.store(self.at, read)
            chip.store(self.at + 4, write)
            if count is not None:
                chip.store(self.at + 8, count)
            chip.store(self.at + 0x10, ctrl)
            if trigger:
                chip.store(DMA_BASE + DMA_START, 1 << self.channel)

        def active(self, value: int | None = None) -> bool:
            if value is not None:
                chip.store(DMA_BASE + (DMA_START if value else DMA_ABORT), 1 << self.channel)
            return bool(chip.load(self.at + 0x0C) >> 24 & 1)

    return DMA
