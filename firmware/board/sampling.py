"""From the sampler's records to one ordered stream of edges. Pure: no chip, no import.

Each machine reports, for every change it sees, two words: its loop count (downwards) and the pins. Every
machine sees every change (unless it is shorter than the machine's blind time), so the first to see it
gives the tick and the others agree with what is already known.
"""

LOOP_CYCLES = 6
RECORD_CYCLES = 12
WORD = 0xFFFFFFFF


class Track:
    """One machine's clock: turns loop counts into ticks, across the wrap of the 32-bit count.

    Right as long as two records read in a row lie less than 2**32 loops (206 s at 125 MHz) apart; the
    heartbeat pin sees to that.
    """

    def __init__(self, phase):
        self._last = WORD
        self._now = phase  # the tick that the next record would have, were it made at once

    def tick(self, count):
        """Tick of the next record, from its loop count."""
        tick = self._now + LOOP_CYCLES * ((self._last - count) & WORD)
        self._last = count
        self._now = tick + RECORD_CYCLES
        return tick

    def skip(self, records):
        """Records that were overwritten before anyone read them: the clock counts them all the same."""
        self._now += RECORD_CYCLES * records


class Merger:
    """Merges the machines' records into edges (channel, level, tick), each once, in order of tick.

    `inversion` flips the active-low channels so that 1 means closed; before the first record every
    channel counts as open. `base` is added to every tick.
    """

    def __init__(self, phases, channels, inversion, base=0, levels=0):
        self._tracks = [Track(phase) for phase in phases]
        self._waiting = [[] for _ in phases]  # type: list[list[tuple[int, int]]]
        self._seen = [base] * len(self._tracks)
        self._channel_of = {1 << channel: channel for channel in range(channels)}
        self._inversion = inversion
        self._base = base
        self.levels = levels

    def take(self, machine, count, pins):
        """One record of one machine, in the order in which the machine made them."""
        self.take_all(machine, (count, pins), 0)

    def take_all(self, machine, words, start):
        """The records of one machine in `words` (count, pins, count, pins, ...) from `start` on."""
        base = self._base
        inversion = self._inversion
        tick_of = self._tracks[machine].tick
        keep = self._waiting[machine].append
        tick = self._seen[machine]
        for at in range(start, len(words), 2):
            tick = base + tick_of(words[at])
            keep((tick, words[at + 1] ^ inversion))
        self._seen[machine] = tick

    def skip(self, machine, records):
        """Records of a machine that are lost for good."""
        self._tracks[machine].skip(records)

    def emit(self, sink, all_in):
        """Hands every edge that can have no forerunner to `sink(channel, level, tick)`.

        `all_in`: no machine has a record on the way. Otherwise edges later than the last record of any
        machine stay, as that machine may still report an earlier one.
        """
        horizon = None if all_in else min(self._seen)
        waiting = self._waiting
        self._emit_agreed(sink, horizon)
        while True:
            first = None
            for queue in waiting:
                if queue and (first is None or queue[0][0] < first[0][0]):
                    first = queue
            if first is None or (horizon is not None and first[0][0] > horizon):
                return
            tick, levels = first.pop(0)
            if levels != self.levels:
                self._tell(sink, levels, tick)

    def _emit_agreed(self, sink, horizon):
        """The quick way, as long as the next record of every machine tells of the same change: the earliest counts and
        the others say nothing new. No machine's next but one lies between them: it comes a record's time later."""
        queues = self._waiting
        done = 0
        least = min([len(queue) for queue in queues])
        try:
            while done < least:
                first, levels = queues[0][done]
                last = first
                for queue in queues:
                    tick, others = queue[done]
                    if others != levels:
                        return
                    if tick < first:
                        first = tick
                    elif tick > last:
                        last = tick
                if last - first >= RECORD_CYCLES or (horizon is not None and first > horizon):
                    return
                done += 1
                if levels != self.levels:
                    self._tell(sink, levels, first)
        finally:  # whatever the sink does: what was told is not told again
            for queue in queues:
                del queue[:done]

    def _tell(self, sink, levels, tick):
        changed = levels ^ self.levels
        self.levels = levels
        channel = self._channel_of.get(changed)
        if channel is not None:
            sink(channel, levels >> channel & 1, tick)
            return
        for channel in range(len(self._channel_of)):
            if changed >> channel & 1:
                sink(channel, levels >> channel & 1, tick)


def overwritten(written, read, ring):
    """Words of a ring of `ring` words that were overwritten before they were read, whole records only.

    One record more than the arithmetic says is given up: the one the DMA may be writing right now.
    """
    behind = written - read
    if behind <= ring - 2:
        return 0
    return behind - (ring - 2) + (behind & 1)
