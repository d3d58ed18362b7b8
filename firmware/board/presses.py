"""What the contacts did while the loop was held up, by flash above all: one PIO machine looks at them every 4 ms and
DMA keeps what it saw, whatever Python is doing."""

import rp2
import uctypes
from app import pins
from app.buttons import LOOK_MS, PRESSED
from machine import Pin
from micropython import const

from . import programs
from .memory import LOOK_RING_BITS, LOOK_RING_BYTES
from .registers import PioBlock, TransferCount

_MACHINE = const(2)
_DREQ_PIO1_RX0 = const(12)
_LOOKS = const(256)
_LOOK_CYCLES = const(16)
_AWAY_LOOKS = const(4)  # a loop that comes round sooner than this sees every press by itself


class Presses:
    """The looks of the last second, of which the loop asks for those it has missed."""

    def __init__(self, is_rp2350, rings):
        self._memory = rings  # kept: DMA writes there
        self._ring = uctypes.bytearray_at(rings.looks, LOOK_RING_BYTES)
        base = pins.gpio_of(PRESSED[0])
        self._places = bytes([pins.gpio_of(name) - base for name in PRESSED])  # every contact is active low
        self._at = 0  # the look that is written next
        rp2.StateMachine(
            4 + _MACHINE, programs.contacts, freq=_LOOK_CYCLES * 1000 // LOOK_MS, in_base=Pin(base)
        )
        block = PioBlock(1)
        dma = rp2.DMA()
        self._dma = dma
        dma.config(
            read=block.fifo_address(_MACHINE),
            write=rings.looks,
            ctrl=dma.pack_ctrl(
                size=1,
                inc_read=False,
                inc_write=True,
                ring_sel=True,
                ring_size=LOOK_RING_BITS,
                treq_sel=_DREQ_PIO1_RX0 + _MACHINE,
            ),
            trigger=False,
        )
        self._count = TransferCount(dma.channel, is_rp2350)  # type: ignore[attr-defined]
        self._count.begin()
        dma.active(1)
        block.start_together(1 << _MACHINE)

    def missed(self):
        """Of each look since this was last asked which contacts were pressed, a bit each in the order of PRESSED, the
        oldest first; nothing when it was asked a moment ago. At most a second."""
        count = self._count.passed()
        self._at = (self._at + count) % _LOOKS
        return b"" if count < _AWAY_LOOKS else self._read(count)

    def _read(self, count):
        """`missed` where there is something: apart from it, as so many names take memory at each call."""
        looks = bytearray(min(count, _LOOKS - 1))  # the one after these may be being written
        ring = self._ring
        for n in range(len(looks)):
            at = 2 * ((self._at - len(looks) + n) % _LOOKS)
            seen = ring[at] | ring[at + 1] << 8
            bit = 1
            for place in self._places:
                if not seen >> place & 1:
                    looks[n] |= bit
                bit <<= 1
        return looks

    def stop(self):
        """No further looks: the memory belongs to Python again."""
        PioBlock(1).stop(1 << _MACHINE)
        self._dma.active(0)
