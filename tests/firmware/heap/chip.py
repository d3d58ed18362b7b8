# mypy: ignore-errors
"""Runs inside MicroPython's own machine: the modules a board has, as small as they can be, and what plays the host.

Only what the board layer touches. Everything here lies at the bottom of the heap before the firmware starts, and the
heap is made larger by as much; so what the firmware finds is what a board would leave it.
"""

import array
import builtins
import gc
import os
import sys

import micropython
import uctypes

ROLLS_MS = 1 << 28  # sooner than on a board, so that reckoning with it takes no memory here either


class Module:
    """A module as a plain object."""


class Clock:
    """Virtual time: what waits moves it on."""

    def __init__(self):
        self.us = 0

    def ticks_us(self):
        self.us += 20
        return self.us % ROLLS_MS

    def ticks_ms(self):
        self.us += 20
        return self.us // 1000 % ROLLS_MS

    def ticks_diff(self, later, earlier):
        return (later - earlier + ROLLS_MS // 2) % ROLLS_MS - ROLLS_MS // 2

    def ticks_add(self, ticks, more):
        return (ticks + more) % ROLLS_MS

    def sleep_ms(self, ms):
        self.us += 1000 * ms

    def sleep_us(self, us):
        self.us += us


class Mem32:
    """The registers the firmware asks, and memory itself where the address is memory's."""

    def __init__(self, clock):
        self.clock = clock
        # What is asked every turn of the loop is found without taking memory, as on a board.
        self.kept = {0xD0000004: 0, 0x50200008: 0, 0x502000D4: 0, 0x503000D4: 0, 0x503000EC: 0}
        self.count = [0xFFFFFFFF] * 12
        self.rings = [0] * 12  # where each DMA channel writes
        self.words = [1] * 12  # of each ring
        self.begun_us = 0
        self.records = 0
        self.pins = 0

    def change(self, gpio, level):
        """A sampled pin changes: each machine's two words go into its ring, as by DMA."""
        bit = 1 << gpio - 2
        self.pins = self.pins | bit if level else self.pins & ~bit
        loops = ((self.clock.us - self.begun_us) * 125 - 12 * self.records) // 6
        self.records += 1
        for channel in range(3):
            if not self.rings[channel]:
                return
            moved = 0xFFFFFFFF - self.count[channel]
            for word in (0xFFFFFFFF - loops, self.pins):
                at = self.rings[channel] + 4 * (moved % self.words[channel])
                uctypes.struct(at, {"word": uctypes.UINT32}).word = word
                moved += 1
            self.count[channel] = 0xFFFFFFFF - moved
            self.lows[0x50000008 + 64 * channel] = self.count[channel] & 0xFFFF

    def __getitem__(self, at):
        word = self.kept.get(at)
        if word is not None:
            return word
        if at >> 16 == 0x5000:
            return self.count[at >> 6 & 15]
        if at >> 28 >= 4:
            return self.kept.get(at, 0)
        return uctypes.struct(at, {"word": uctypes.UINT32}).word

    def __setitem__(self, at, word):
        if at >> 16 == 0x5000:
            self.count[at >> 6 & 15] = word
            self.lows[at] = word & 0xFFFF
            self.begun_us = self.clock.us
            self.records = 0
        elif at >> 28 >= 4:
            # Only where a machine stands and what a restart is told are ever read back.
            if at & 0xFFFF in (0x800C, 0x00D8, 0x00F0):
                self.kept[at] = word
        else:
            uctypes.struct(at, {"word": uctypes.UINT32}).word = word


class Mem16:
    """The low half of the transfer counts. Takes no memory, as on the board."""

    def __init__(self, whole):
        self.lows = {}
        whole.lows = self.lows

    def __getitem__(self, at):
        return self.lows[at]


class Pin:
    """A pin reads as it is pulled; the interlock is closed."""

    IN, OUT, PULL_UP, PULL_DOWN = 0, 1, 2, 3
    levels = bytearray(32)
    registers = None

    def __init__(self, gpio, mode=-1, pull=-1, value=None):
        self.gpio = gpio
        if value is not None:
            self.levels[gpio] = value
        elif pull == Pin.PULL_UP:
            self.levels[gpio] = gpio != 15

    def value(self, level=None):
        if level is not None:
            self.levels[self.gpio] = level
            if self.gpio == 12:
                self.registers.change(12, level)
        return self.levels[self.gpio]


class DMA:
    made = 0

    def __init__(self):
        self.channel = DMA.made
        DMA.made += 1
        self.on = 0

    def pack_ctrl(self, **fields):
        return (1 << fields["ring_size"]) // 4 if fields.get("ring_sel") else 1

    def config(self, **fields):
        Pin.registers.rings[self.channel] = fields["write"]
        Pin.registers.words[self.channel] = fields["ctrl"]

    def active(self, value=None):
        if value is not None:
            self.on = value
        return self.on


class StateMachine:
    def __init__(self, number, program, **fields):
        self.program = program


class PIO:
    OUT_LOW, SHIFT_LEFT, SHIFT_RIGHT, JOIN_RX, JOIN_TX = 0, 0, 1, 2, 1


def asm_pio(**fields):
    """The real one assembles; what it leaves behind is a list with one array of instructions."""

    def kept(function):
        return [array.array("H", bytes(60)), -1, -1, -1, 0, 0, None, None, None, None]

    return kept


class Poll:
    """What `select.poll` is used for; waiting for input is where the host has its say."""

    def __init__(self, host):
        self.host = host

    def register(self, stream, what):
        self.what = what

    def ipoll(self, ms=-1):
        if self.what == 4:
            return (1,)
        if ms:
            self.host.us += 1000 * ms
        return (1,) if self.host.waits() else ()


class Stream:
    """USB serial, both ways. `put` lines wait to be read; what is written is cut into lines."""

    def __init__(self, clock):
        self.clock = clock
        self.buffer = self
        self.coming = b""
        self.at = 0
        self.line = bytearray(1024)
        self.filled = 0
        self.said = None
        self.turn = None

    @property
    def us(self):
        return self.clock.us

    @us.setter
    def us(self, us):
        self.clock.us = us

    def waits(self):
        if self.at >= len(self.coming) and self.turn is not None:
            self.turn()
        return self.at < len(self.coming)

    def readinto(self, buffer, size=-1):
        taken = min(len(buffer) if size < 0 else size, len(self.coming) - self.at)
        buffer[:taken] = self.coming[self.at : self.at + taken]
        self.at += taken
        return taken

    def write(self, data):
        for byte in data:
            if byte == 10:
                if self.said is None and b'"re"' in self.line[: self.filled]:
                    self.said = bytes(self.line[: self.filled])
                self.filled = 0
            elif self.filled < 1024:
                self.line[self.filled] = byte
                self.filled += 1
        return len(data)


class Over(BaseException):
    """The run has ended."""


class Watchdog:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


def reset():
    raise Over("machine.reset")


def translated(call):
    """This machine's numbers for what failed are not the board's."""

    def done(*arguments):
        try:
            return call(*arguments)
        except OSError as error:
            raise OSError({44: 2, 51: 28}.get(error.errno, error.errno)) from None

    return done


def figures():
    """Collects, then has the interpreter itself say what is free, and the largest hole; the runner reads it."""
    gc.collect()
    micropython.mem_info()


def modules(machine_name):
    """Puts the board's modules in place; (clock, stream, mem32)."""
    clock = Clock()
    stream = Stream(clock)
    registers = Mem32(clock)
    Pin.registers = registers
    machine = Module()
    machine.Pin = Pin
    machine.mem16 = Mem16(registers)
    machine.mem32 = registers
    machine.freq = lambda: 125000000
    machine.unique_id = lambda: b"\x01\x02\x03\x04\x05\x06\x07\x08"
    machine.reset_cause = lambda: 1
    machine.WDT_RESET = 3
    machine.WDT = Watchdog
    machine.reset = reset
    rp2 = Module()
    rp2.PIO = PIO
    rp2.StateMachine = StateMachine
    rp2.DMA = DMA
    rp2.asm_pio = asm_pio
    select = Module()
    select.POLLIN = 1
    select.POLLOUT = 4
    select.poll = lambda: Poll(stream)
    interpreter = Module()
    interpreter.kbd_intr = lambda key: None
    interpreter.const = lambda value: value
    system = Module()
    system.implementation = Implementation
    Implementation._machine = machine_name
    system.stdin = stream
    system.stdout = stream
    system.print_exception = sys.print_exception
    system.path = sys.path
    system.modules = sys.modules
    system.platform = "rp2"
    files = Module()
    for name in ("stat", "mkdir", "remove", "listdir"):
        setattr(files, name, translated(getattr(os, name)))
    files.statvfs = lambda path: (4096, 4096, 350, 300)
    builtins.open = translated(open)
    for name, module in (
        ("os", files),
        ("machine", machine),
        ("rp2", rp2),
        ("select", select),
        ("micropython", interpreter),
        ("sys", system),
        ("time", clock),
    ):
        sys.modules[name] = module
    return clock, stream, registers


class Implementation:
    name = "micropython"
    version = (1, 28, 0, "")
    _machine = ""
