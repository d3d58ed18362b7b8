"""The lamp row of the optical route: one PIO machine, fed by DMA with one word a row."""

import rp2
import uctypes
from app import pins
from machine import Pin, mem32
from micropython import const

from . import plans, programs
from .registers import PioBlock

MACHINE = 3
_DREQ_PIO0_TX0 = const(0)
_CHAIN_BITS = const(64)
PULL = 0x80A0
MOV_ISR_OSR = 0xA0C7
CLOCK_HIGH = 0xA842  # nop().side(1)
LATCH_HIGH = 0xB042  # nop().side(2)
ALL_LOW = 0xE000  # set(pins, 0).side(0)


class LampRow:
    """Lights the row in hardware time: Python only says how often."""

    def __init__(self):
        self._block = PioBlock(0)
        self._word = bytearray(4)
        self._dma = None
        data = pins.gpio_of("lamp_data")
        clock = pins.gpio_of("lamp_clock")
        for gpio in (data, clock, clock + 1):
            Pin(gpio, Pin.OUT, value=0)
        self._machine = rp2.StateMachine(
            MACHINE, programs.lamp_row, set_base=Pin(data), sideset_base=Pin(clock)
        )
        self._entry = self._block.wrap_target(MACHINE)

    def run(self, lamps, step_ticks, rows):
        """`rows` rows of `lamps` lamps, each lit `step_ticks`, in place of any that run. Returns at once."""
        block = self._block
        self.stop()
        if self._dma is None:
            self._dma = rp2.DMA()
        block.clear_fifos(MACHINE)
        block.restart(1 << MACHINE)
        block.put(MACHINE, _CHAIN_BITS)
        block.execute(MACHINE, PULL)
        block.execute(MACHINE, MOV_ISR_OSR)
        block.jump(MACHINE, self._entry)
        at = uctypes.addressof(self._word)
        mem32[at] = plans.lamp_word(lamps, step_ticks)
        control = self._dma.pack_ctrl(
            size=2, inc_read=False, inc_write=False, treq_sel=_DREQ_PIO0_TX0 + MACHINE
        )
        self._dma.config(
            read=at, write=block.base + 0x10 + 4 * MACHINE, count=rows, ctrl=control, trigger=True
        )
        block.start_together(1 << MACHINE)

    def stop(self):
        """No further row. A row that was interrupted is shifted dark."""
        if self._dma is None:
            return
        block = self._block
        ended = not self._dma.active() and block.address(MACHINE) == self._entry
        self._dma.active(0)
        block.stop(1 << MACHINE)
        block.clear_fifos(MACHINE)
        if ended:
            return  # dark by itself
        for _ in range(_CHAIN_BITS):
            block.execute(MACHINE, ALL_LOW)
            block.execute(MACHINE, CLOCK_HIGH)
        for instruction in (ALL_LOW, LATCH_HIGH, ALL_LOW):
            block.execute(MACHINE, instruction)
