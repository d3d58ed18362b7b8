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
        self.last = WORD
        self.now = phase  # the tick that the next record would have, were it made at once

    def tick(self, count):
        """Tick of the next record, from its loop count."""
        tick = self.now + LOOP_CYCLES * ((self.last - count) & WORD)
        self.last = count
        self.now = tick + RECORD_CYCLES
        return tick

    def skip(self, records):
        """Records that were overwritten before anyone read them: the clock counts them all the same."""
        self.now += RECORD_CYCLES * records


class Merger:
    """Merges the machines' records into edges (channel, level, tick), each once, in order of tick.

    `inversion` flips the active-low channels so that 1 means closed; before the first record every
    channel counts as open. `base` is added to every tick.
    """

    def __init__(self, phases, channels, inversion, base=0, levels=0):
        self._tracks = [Track(phase) for phase in phases]
        self._waiting = [[] for _ in phases]  # type: list[list[tuple[int, int]]]
        self.seen = [base] * len(self._tracks)  # tick of the last record of each machine
        self._channels = channels
        # All but the last, the heartbeat, which is nobody's edge.
        self._alone = {1 << channel: channel for channel in range(channels - 1)}
        self._inversion = inversion
        self._earlier_for = (0, 0)
        self._earlier_by = {}  # type: dict[int, int]
        self._base = base
        self.levels = levels

    def take_all(self, machine, halves, start):
        """The records of one machine in `halves` (low and high half of its count, low and high half of its pins, ...),
        beginning at record `start`, in the order in which the machine made them."""
        base = self._base
        inversion = self._inversion
        tick_of = self._tracks[machine].tick
        keep = self._waiting[machine].append
        tick = self.seen[machine]
        for at in range(4 * start, len(halves), 4):
            tick = base + tick_of(halves[at] | halves[at + 1] << 16)
            keep((tick, halves[at + 2] ^ inversion))
        self.seen[machine] = tick

    def take_agreed(self, first, second, third, sink, any_sink):
        """As many records of each of the three machines, with nothing waiting: as long as the machines tell of the same
        changes each edge goes to `sink` at once, the heartbeat and edges that share a tick to `any_sink`. What is left
        since the first on which they do not agree waits for `emit`.

        Here each edge costs little: halves of words are small numbers, which take no memory in MicroPython, and only
        the edge's own tick is a large one.
        """
        zero, one, two = self._tracks
        # So much later do the others' clocks say the same change, but for how many loops each has counted.
        one_later = one.now - zero.now + LOOP_CYCLES * _signed(one.last - zero.last)
        two_later = two.now - zero.now + LOOP_CYCLES * _signed(two.last - zero.last)
        # Names of this function's own are found at once.
        loop, record, inversion, alone = LOOP_CYCLES, RECORD_CYCLES, self._inversion, self._alone.get
        earlier = self._earlier(one_later, two_later).get
        levels = self.levels
        anchor = self._base + zero.now
        since = 0  # ticks of machine 0's next record from the anchor, were it made at once
        low = zero.last & 0xFFFF
        high = zero.last >> 16
        at = 0
        end = len(first)
        try:
            while at < end:
                now_low = first[at]
                now_high = first[at + 1]
                pins = first[at + 2]
                one_low = second[at]
                two_low = third[at]
                if not (
                    second[at + 1] == now_high == third[at + 1] and second[at + 2] == pins == third[at + 2]
                ):
                    return
                early = earlier((now_low - one_low << 17) + now_low - two_low)
                if early is None:
                    return
                tick = (high - now_high << 16) + low - now_low
                if tick < 0:
                    tick += 1 << 32
                tick = since + loop * tick
                since = tick + record
                low = now_low
                high = now_high
                at += 4
                now = pins ^ inversion
                changed = now ^ levels
                levels = now
                channel = alone(changed)
                if channel is not None:
                    sink(channel, 1 if now & changed else 0, anchor + (tick + early))
                elif changed:
                    self._tell(any_sink, now, changed, anchor + (tick + early))
        finally:  # whatever the sink does: what was told is not told again, and what was not waits
            self.levels = levels
            if at:
                self._go_on(first, second, third, at - 4, zero.now + since, one_later, two_later)
            if at < end:
                self.take_all(0, first, at >> 2)
                self.take_all(1, second, at >> 2)
                self.take_all(2, third, at >> 2)

    def _earlier(self, one_later, two_later):
        """By how many loops machine 1 has counted further than machine 0, and machine 2 (the first times 2**17, added):
        how much earlier than machine 0 the first of the three saw the change. Only what can be one change is there."""
        if self._earlier_for != (one_later, two_later):
            found = {}
            for one in range(-2, 3):
                for two in range(-2, 3):
                    looks = (0, one_later + LOOP_CYCLES * one, two_later + LOOP_CYCLES * two)
                    if max(looks) - min(looks) < RECORD_CYCLES:
                        found[(one << 17) + two] = min(looks)
            self._earlier_for = (one_later, two_later)
            self._earlier_by = found
        return self._earlier_by

    def _go_on(self, first, second, third, at, now, one_later, two_later):
        """The clocks of the machines behind the record at `at`."""
        low = first[at]
        high = first[at + 1] << 16
        for machine, halves, later in ((0, first, 0), (1, second, one_later), (2, third, two_later)):
            own = halves[at]
            track = self._tracks[machine]
            track.last = high | own
            track.now = now + later - LOOP_CYCLES * (own - low)
            self.seen[machine] = self._base + track.now - RECORD_CYCLES

    @property
    def waiting(self):
        """Whether records wait for those of other machines."""
        for queue in self._waiting:  # noqa: SIM110  a generator takes memory
            if queue:
                return True
        return False

    def skip(self, machine, records):
        """Records of a machine that are lost for good."""
        self._tracks[machine].skip(records)

    def emit(self, sink, all_in):
        """Hands every edge that can have no forerunner to `sink(channel, level, tick)`.

        `all_in`: no machine has a record on the way. Otherwise edges later than the last record of any
        machine stay, as that machine may still report an earlier one.
        """
        horizon = None if all_in else min(self.seen)
        waiting = self._waiting
        while True:
            first = None
            for queue in waiting:
                if queue and (first is None or queue[0][0] < first[0][0]):
                    first = queue
            if first is None or (horizon is not None and first[0][0] > horizon):
                return
            tick, levels = first.pop(0)
            if levels != self.levels:
                self._change(sink, levels, tick)

    def _change(self, sink, levels, tick):
        changed = levels ^ self.levels
        self.levels = levels
        self._tell(sink, levels, changed, tick)

    def _tell(self, sink, levels, changed, tick):
        for channel in range(self._channels):
            if changed >> channel & 1:
                sink(channel, levels >> channel & 1, tick)


def _signed(difference):
    """A difference of two 32-bit counts that may have wrapped between them."""
    return ((difference + (1 << 31)) & WORD) - (1 << 31)


def overwritten(written, read, ring):
    """Words of a ring of `ring` words that were overwritten before they were read, whole records only.

    One record more than the arithmetic says is given up: the one the DMA may be writing right now.
    """
    behind = written - read
    if behind <= ring - 2:
        return 0
    return behind - (ring - 2) + (behind & 1)
