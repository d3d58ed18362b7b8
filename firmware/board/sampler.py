"""The PIO sampler and its three DMA rings, drained into ordered edges."""

import time
from array import array

import rp2
from app import pins
from machine import Pin
from micropython import const

from . import programs, sampling
from .memory import MACHINES, RING_BITS, RING_BYTES
from .registers import PioBlock, TransferCount

RING_WORDS = RING_BYTES // 4
ALL = (1 << MACHINES) - 1

_BATCH_RECORDS = const(
    48
)  # of each machine a call: some ten milliseconds, and the loop has other things to do
BEAT_MS = 10000
_BEAT_ANSWER_MS = const(500)

MOV_ISR_ALL_ONES = 0xA0CB  # mov(isr, invert(null))
MOV_X_ZERO = 0xA023  # mov(x, null)
_DREQ_PIO0_RX0 = const(4)


def _unheard(channel, level, tick):
    """Where edges go before anyone asks for them."""


class Sampler:
    """Timestamps all channels from `start` on. Ticks never jump back, whatever is lost.

    `lost` edges are reported by `drain`; after any loss the ticks of edges before and after it may
    disagree by some microseconds, which is why the host refuses a shot with a loss.
    """

    def __init__(self, tick_hz, is_rp2350, rings):
        self._tick_hz = tick_hz
        self._block = PioBlock(0)
        self._memory = rings  # kept: DMA writes there
        self._rings = [rings.first + machine * RING_BYTES for machine in range(MACHINES)]
        self._views = [rings.view(machine) for machine in range(MACHINES)]
        self._channels = [rp2.DMA() for _ in range(MACHINES)]
        self._counts = [TransferCount(dma.channel, is_rp2350) for dma in self._channels]  # type: ignore[attr-defined]
        self._read = [0] * MACHINES
        self._levels = 0
        self._lost = 0
        self._sink = _unheard
        for row in pins.PINS[4:10]:
            # A sync coupler that gets little light pulls against its own collector resistor and nothing more: with the
            # chip's 50 to 80 kOhm beside it a high-voltage input would never read low.
            if row[0] in pins.ISOLATED:
                Pin(row[1], Pin.IN)
            else:
                Pin(row[1], Pin.IN, Pin.PULL_UP)
        self._beat = Pin(pins.gpio_of("beat"), Pin.OUT, value=0)
        self._beat_level = 0
        self._beat_waits = False
        for machine in range(MACHINES):  # not kept: the port has one object for each machine, for good
            rp2.StateMachine(machine, programs.sampler, in_base=Pin(pins.FIRST_SAMPLED_GPIO))
        self._start(0)

    def _start(self, base):
        block = self._block
        block.stop(ALL)
        for machine in range(MACHINES):
            self._channels[machine].active(0)
            block.clear_fifos(machine)
            block.restart(1 << machine)
            block.execute(machine, MOV_ISR_ALL_ONES)
            block.execute(machine, MOV_X_ZERO)
            # The entry for machine n lies n instructions before the loop.
            block.jump(machine, block.wrap_target(machine) - machine)
            self._read[machine] = 0
            self._start_dma(machine)
        block.forget_overflows()
        self._behind = False
        self._merger = sampling.Merger(
            programs.PHASES, programs.PIN_COUNT, pins.sampled_inversion_mask(), base, self._levels
        )
        self._known_tick = base
        self._known_us = time.ticks_us()
        block.start_together(ALL)
        self.beat()

    def _start_dma(self, machine):
        dma = self._channels[machine]
        control = dma.pack_ctrl(
            size=2,
            inc_read=False,
            inc_write=True,
            ring_sel=True,
            ring_size=RING_BITS,
            treq_sel=_DREQ_PIO0_RX0 + machine,
            high_pri=True,
        )
        dma.config(
            read=self._block.fifo_address(machine),
            write=self._rings[machine],
            ctrl=control,
            trigger=False,
        )
        self._counts[machine].begin()
        dma.active(1)

    def stop(self):
        """Stops the machines and their DMA: the rings' memory belongs to Python again."""
        self._block.stop(ALL)
        for dma in self._channels:
            dma.active(0)

    def tick(self):
        """The tick now, to a few microseconds: counted on from the last heartbeat in microseconds."""
        passed_us = time.ticks_diff(time.ticks_us(), self._known_us)
        return self._known_tick + passed_us * self._tick_hz // 1000000

    def beat(self):
        """Toggles the heartbeat pin; its edge comes back through the sampler."""
        self._beat_level ^= 1
        self._beat_waits = True
        self._beat_ms = time.ticks_ms()
        self._beat_us = time.ticks_us()
        self._beat.value(self._beat_level)

    def beat_is_due(self):
        """To be asked often: the loop counts must not run 206 s without a record."""
        return time.ticks_diff(time.ticks_ms(), self._beat_ms) >= BEAT_MS and not self._beat_waits

    def pending(self):
        """True when `drain` has something to do: what it left for later, or what has come since."""
        if self._behind:
            return True
        for count in self._counts:  # noqa: SIM110  a generator takes memory, each millisecond
            if count.changed():
                return True
        return False

    def drain(self, sink):
        """Edges seen since the last call to `sink(channel, level, tick)`, in order; returns edges lost.

        One call does a bounded amount of work; `pending` says whether there is more.
        """
        self._sink = sink
        self._lost = 0
        if not self.pending() and not self._block.overflowed() & ALL:
            self._check_alive()
        else:
            self._read_on(sink)
        return self._lost

    def _read_on(self, sink):
        """`drain` where there is something. By itself: what its lists look into takes memory as it begins."""
        merger = self._merger
        read = self._read
        before = [count.moved() for count in self._counts]
        records = [min((before[m] - read[m]) >> 1, _BATCH_RECORDS) for m in range(MACHINES)]
        # The quick way takes as many records of each machine.
        together = 0 if merger.waiting else min(records)
        batches = [self._copy(m, before[m], together or records[m]) for m in range(MACHINES)]
        after = [count.moved() for count in self._counts]
        if self._block.overflowed() & ALL:
            # A dropped word tears the two-word records and takes a machine's clock with it.
            self._begin_again(1 + max([after[m] - read[m] for m in range(MACHINES)]) // 2)
            return
        for machine in range(MACHINES):
            if sampling.overwritten(after[machine], read[machine], RING_WORDS):
                together = 0
        if together:
            for machine in range(MACHINES):
                read[machine] += 2 * together
            merger.take_agreed(batches[0][1], batches[1][1], batches[2][1], sink, self._edge)
        else:
            overrun = 0
            for machine in range(MACHINES):
                overrun = max(overrun, self._hand_over(machine, batches[machine], after[machine]))
            self._lost += overrun
        all_in = before == after
        for machine in range(MACHINES):
            if after[machine] - read[machine] > 1:
                all_in = False
        self._behind = not all_in
        if merger.waiting:
            merger.emit(self._edge, all_in)
        self._check_alive()

    def _copy(self, machine, written, records):
        """(words skipped, halves of the words of the records that follow) from a ring."""
        read = self._read[machine]
        skipped = sampling.overwritten(written, read, RING_WORDS)
        ring = self._views[machine]
        at = 4 * ((read + skipped) % RING_WORDS)
        end = at + 8 * records
        halves = array("H", bytearray(ring[at:end]))
        if end > RING_BYTES:
            halves.extend(array("H", bytearray(ring[: end - RING_BYTES])))
        return skipped, halves

    def _hand_over(self, machine, batch, written):
        """Passes a copied batch to the merger; returns the records lost to overwriting."""
        skipped, halves = batch
        read = self._read[machine]
        # What was overwritten while it was being copied is lost too.
        late = sampling.overwritten(written, read, RING_WORDS) - skipped
        late = max(0, min(late, len(halves) >> 1))
        lost = (skipped + late) // 2
        if lost:
            self._merger.skip(machine, lost)
        self._merger.take_all(machine, halves, late >> 1)
        self._read[machine] = read + skipped + (len(halves) >> 1)
        return lost

    def _edge(self, channel, level, tick):
        if channel == pins.BEAT:
            if self._beat_waits and level == self._beat_level:
                self._beat_waits = False
                self._known_tick = tick
                self._known_us = self._beat_us
        else:
            self._sink(channel, level, tick)

    def _check_alive(self):
        ended = False
        for count in self._counts:
            if count.near_its_end():
                ended = True
        unanswered = self._beat_waits and time.ticks_diff(time.ticks_ms(), self._beat_ms) > _BEAT_ANSWER_MS
        if ended or (unanswered and not self.pending()):
            self._begin_again(1)

    def _begin_again(self, lost):
        """After a loss that the loop counts do not survive: all machines anew, the clock carried on."""
        self._lost += lost
        self._merger.emit(self._edge, True)
        self._levels = self._merger.levels
        self._start(max(self.tick(), max(self._merger.seen) + 1))
