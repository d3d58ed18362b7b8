"""The few registers of RP2040 and RP2350 that MicroPython's own classes do not reach.

Addresses and fields are those of both datasheets (PIO, DMA and SIO chapters); all of them are the same
on the two chips but for the mode bits of the DMA transfer count.
"""

import sys

from machine import mem16, mem32
from micropython import const

PIO_BASES = (0x50200000, 0x50300000)
_DMA_BASE = const(0x50000000)
_DMA_CHANNEL_STRIDE = const(0x40)
_DMA_COUNT = const(0x08)
GPIO_IN = 0xD0000004

WATCHDOG_BASES = {"RP2040": 0x40058000, "RP2350": 0x400D8000}
_WATCHDOG_CTRL = const(0x00)
_WATCHDOG_ENABLE = const(1 << 30)
_WATCHDOG_REASON = const(0x08)
_REASON_FORCED = const(2)  # by a register; the timer's own bit is 1
# The watchdog's first scratch word survives every reset but power-on, and nobody else uses it.
_WATCHDOG_SCRATCH = const(0x0C)
_RESTART_MARK = const(0x636F696E)
RESCUE_MARK = 0x72657363

# Atomic aliases of every peripheral register.
_XOR = const(0x1000)
_SET = const(0x2000)
_CLEAR = const(0x3000)

_CTRL = const(0x000)
_FDEBUG = const(0x008)
_TXF0 = const(0x010)
_RXF0 = const(0x020)
_EXECCTRL = const(0x0CC)
_SHIFTCTRL = const(0x0D0)
_ADDR = const(0x0D4)
_INSTR = const(0x0D8)
_MACHINE_STRIDE = const(0x18)
_JOIN_RX_BIT = const(1 << 31)
_RP2350_TRIGGER_SELF = const(1 << 28)
_RP2350_COUNT = const(1 << 27)  # any power of two that fits the field


def chip_name():
    """'RP2040' or 'RP2350', from MicroPython's own description of the board."""
    return "RP2350" if "RP2350" in sys.implementation._machine else "RP2040"


def mark_restart(chip):
    """Leaves word for the next boot that the restart was meant."""
    mem32[WATCHDOG_BASES[chip] + _WATCHDOG_SCRATCH] = _RESTART_MARK


def mark_rescue(chip):
    """Leaves word for the next boot, and that one alone, to go into rescue mode."""
    mem32[WATCHDOG_BASES[chip] + _WATCHDOG_SCRATCH] = RESCUE_MARK


def restart_was_meant(chip):
    """Whether `mark_restart` came before this boot; asked once, any mark is gone."""
    at = WATCHDOG_BASES[chip] + _WATCHDOG_SCRATCH
    marked = mem32[at] == _RESTART_MARK
    mem32[at] = 0
    return marked


def rescue_was_asked(chip):
    """Whether `mark_rescue` came before this boot; asked once, its mark is gone."""
    at = WATCHDOG_BASES[chip] + _WATCHDOG_SCRATCH
    marked = mem32[at] == RESCUE_MARK
    if marked:
        mem32[at] = 0
    return marked


def reset_was_forced(chip):
    """Whether the watchdog's last reset came from a register (`machine.reset()`), not from its timer."""
    return mem32[WATCHDOG_BASES[chip] + _WATCHDOG_REASON] & 3 == _REASON_FORCED


def stop_watchdog(chip):
    """MicroPython starts the watchdog and cannot stop it; whoever leaves the loop for good must."""
    mem32[WATCHDOG_BASES[chip] + _WATCHDOG_CTRL + _CLEAR] = _WATCHDOG_ENABLE


class PioBlock:
    """One PIO block: what must happen on one cycle, or faster than MicroPython's classes do it."""

    def __init__(self, number):
        self.base = PIO_BASES[number]
        # Worked out once: an address this high costs MicroPython memory, and opening must not need any.
        self._instr_at = [self.base + _INSTR + _MACHINE_STRIDE * machine for machine in range(4)]
        self._addr_at = [self.base + _ADDR + _MACHINE_STRIDE * machine for machine in range(4)]
        self._fdebug_at = self.base + _FDEBUG

    def start_together(self, mask):
        """Enables the machines of `mask` on one cycle, their clock dividers restarted with them."""
        mem32[self.base + _CTRL + _SET] = mask << 8 | mask

    def stop(self, mask):
        """Freezes the machines of `mask` on one cycle; their pins keep their levels."""
        mem32[self.base + _CTRL + _CLEAR] = mask

    def restart(self, mask):
        """Clears shift counters, delays and half-done instructions of the machines of `mask`."""
        mem32[self.base + _CTRL + _SET] = mask << 4

    def execute(self, machine, instruction):
        """Runs one instruction word on a machine now, whether it is running or not. Takes no memory."""
        mem32[self._instr_at[machine]] = instruction

    def jump(self, machine, address):
        """Sends a machine to an address of the instruction memory (an unconditional jmp is its address)."""
        self.execute(machine, address)

    def address(self, machine):
        """Where a machine is. Takes no memory."""
        return mem32[self._addr_at[machine]] & 31

    def wrap_target(self, machine):
        """Where a machine's program wraps to: tells where MicroPython has put the program."""
        return mem32[self.base + _EXECCTRL + _MACHINE_STRIDE * machine] >> 7 & 31

    def clear_fifos(self, machine):
        """Empties both FIFOs of a machine (the datasheet's way: FJOIN_RX changed and changed back)."""
        at = self.base + _SHIFTCTRL + _XOR + _MACHINE_STRIDE * machine
        mem32[at] = _JOIN_RX_BIT
        mem32[at] = _JOIN_RX_BIT

    def put(self, machine, word):
        """Puts a word into a machine's FIFO, which the caller knows to have room."""
        mem32[self.base + _TXF0 + 4 * machine] = word

    def fifo_address(self, machine):
        """Bus address of a machine's RX FIFO, for DMA."""
        return self.base + _RXF0 + 4 * machine

    def overflowed(self):
        """Mask of the machines that dropped a word since `forget_overflows` (_FDEBUG.RXSTALL)."""
        return mem32[self._fdebug_at] & 15

    def forget_overflows(self):
        mem32[self._fdebug_at] = 15  # write one to clear


class TransferCount:
    """A DMA channel's count of words moved, without end and without wrap.

    RP2040 counts down from 2**32 - 1 once and then stops: after five minutes of the fastest the sampler can
    write, after eight months of a hundred edges a second. RP2350 keeps 28 bits and, in its mode 1, starts
    again by itself.
    """

    def __init__(self, channel, is_rp2350):
        self._at = _DMA_BASE + _DMA_CHANNEL_STRIDE * channel + _DMA_COUNT
        self._mask = _RP2350_COUNT - 1 if is_rp2350 else 0xFFFFFFFF
        self._ends = not is_rp2350
        self.start_value = _RP2350_TRIGGER_SELF | _RP2350_COUNT if is_rp2350 else 0xFFFFFFFF
        self._last = 0
        self._low = 0  # the low half of `_last`: a number that takes no memory
        self._moved = 0

    def begin(self):
        """Sets the count of a channel that is about to be started. RP2350's mode bits go in as they are."""
        mem32[self._at] = self.start_value
        self._last = self.start_value & self._mask
        self._low = self._last & 0xFFFF
        self._moved = 0

    def moved(self):
        """Words moved since `begin`. Must be asked at least once in 2**27 words."""
        now = mem32[self._at] & self._mask
        self._moved += (self._last - now) & self._mask
        self._last = now
        self._low = now & 0xFFFF
        return self._moved

    def changed(self):
        """True when words have been moved since `moved` was last asked: many times a millisecond, so it takes no
        memory."""
        return mem16[self._at] != self._low

    def passed(self):
        """Words moved since this was last asked, fewer than 65536. In place of `moved` where one asks nothing else of
        the count: it takes no memory."""
        low = mem16[self._at]
        passed = (self._low - low) & 0xFFFF
        self._low = low
        return passed

    def near_its_end(self):
        return self._ends and self._last < 1 << 28
