"""One pair: idle, armed (the guard's), firing while an output may be closed, listening until the window ends,
telling until its edges are events.

The edges of the shot at hand go into arrays laid out at boot; nothing is allocated while they come. They
become events when the shot is complete, one line a step, so that the loop never stays away from safety.

A shot's edges are told from others by their ticks, never by when the loop came round to read them.
"""

from array import array

from .events import edges_bytes
from .pins import BEAT, FULL_A, FULL_B
from .units import const, ticks_to_ms_up

IDLE = 0
FIRING = 1
LISTENING = 2
TELLING = 3
STATE_NAMES = ("idle", "firing", "listening", "telling")

EDGES_MOST = 384
EDGES_A_LINE = 16
# So that a contact that chatters cannot take the room of the others: of each channel the first so many edges, then
# only those that begin or end a burst.
EDGES_FIRST = 40
EDGES_A_CHANNEL = 60
_BURST_APART_MS = const(1)
# The tick of a start is known to some microseconds, and its first edge may come at once.
_START_SLACK_US = const(50)
# Room a full shot may need in the event buffer: its edges, the event that ends it, and one more line.
_LINE_BYTES_MOST = const(384)
LINES_MOST = EDGES_MOST // EDGES_A_LINE + 2

HOST = "host"
FIELD = "field"
PULSE = "pulse"

_DELTA_MOST = const(0xFFFFFFFF)


def bytes_of(lines):
    """Bytes of the event buffer that so many lines of a shot may need, the last of them its `shot` event."""
    return (lines - 1) * edges_bytes(EDGES_A_LINE) + _LINE_BYTES_MOST


BYTES_MOST = bytes_of(LINES_MOST)


class Edges:
    """Edges in tick order: `code[i]` = 2 * channel + level, `at[i]` = ticks since `base`."""

    def __init__(self, most=EDGES_MOST):
        self.code = array("B", bytes(most))
        self.at = array("I", bytes(4 * most))
        self.base = 0
        self.count = 0
        self.lost = 0

    def clear(self):
        self.count = 0
        self.lost = 0
        self.base = 0

    def keep(self, channel, level, tick):
        """Take one edge, or count it as lost when there is no place for it."""
        count = self.count
        if count == 0:
            self.base = tick
        since = tick - self.base
        if count >= len(self.code) or not 0 <= since <= _DELTA_MOST:
            self.lost += 1
            return
        self.code[count] = 2 * channel + level
        self.at[count] = since
        self.count = count + 1

    def put_in_place(self, code, since):
        """An edge that is kept later than it came: among the others, by its time."""
        i = self.count
        self.count = i + 1
        while i > 0 and self.at[i - 1] > since:
            self.code[i] = self.code[i - 1]
            self.at[i] = self.at[i - 1]
            i -= 1
        self.code[i] = code
        self.at[i] = since

    def first(self, channel, level):
        """Index of the first edge of a channel to a level, or -1."""
        wanted = 2 * channel + level
        for i in range(self.count):
            if self.code[i] == wanted:
                return i
        return -1

    def tick_of_first(self, channel, level):
        """Tick of the first edge of a channel to a level, or None."""
        i = self.first(channel, level)
        return None if i < 0 else self.base + self.at[i]

    def put_event(self, events, shot, start):
        """At most 16 edges from `start` on as one `edges` event; counts what the buffer had no room for.
        Where the next event starts."""
        end = min(self.count, start + EDGES_A_LINE)
        first = self.base + self.at[start]
        if not events.put_edges(shot, first, self.code[start:end], self.at[start:end]):
            self.lost += end - start
        return end


class ShotEdges(Edges):
    """Edges of a shot, where no channel can take the room of another. `thinned` counts those in the middle of a
    burst that were left out: what is kept of a channel still closes and opens in turn."""

    def __init__(self, apart):
        super().__init__()
        self._apart = apart  # ticks of quiet that end a burst
        self._counts = bytearray(BEAT)
        self._levels = bytearray(BEAT)  # of the last edge kept
        self._last = array("I", bytes(4 * BEAT))  # when the last edge came, kept or not
        self._held = bytearray(BEAT)  # 1: the last edge was not kept and is told if its burst ends with it
        self.thinned = 0

    def clear(self):
        super().clear()
        self.thinned = 0
        for channel in range(BEAT):
            self._counts[channel] = 0
            self._held[channel] = 0

    def keep(self, channel, level, tick):
        """Take one edge, hold it back as one in the middle of a burst, or count it as lost."""
        count = self.count
        since = tick - self.base if count else 0
        if not 0 <= since <= _DELTA_MOST:
            self.lost += 1
            return
        counts = self._counts
        kept = counts[channel]
        if kept >= EDGES_FIRST:
            if since - self._last[channel] >= self._apart:
                self._end_burst(channel)
            if (
                self._held[channel]
                or counts[channel] >= EDGES_A_CHANNEL - 2
                or since - self._last[channel] < self._apart
                or level == self._levels[channel]
            ):
                self._held[channel] = 1 + level
                self._last[channel] = since
                self.thinned += 1
                return
            count = self.count
            kept = counts[channel]
        counts[channel] = kept + 1
        self._levels[channel] = level
        self._last[channel] = since
        # As `Edges.keep` does it; calling that would cost as much again, at every edge.
        code = self.code
        if count >= len(code):
            self.lost += 1
            return
        if count == 0:
            self.base = tick
        code[count] = 2 * channel + level
        self.at[count] = since
        self.count = count + 1

    def _end_burst(self, channel):
        """A burst has ended with the edge that was held back: it is kept, if it changes what is known."""
        held = self._held[channel]
        self._held[channel] = 0
        if not held or held - 1 == self._levels[channel]:
            return
        if self._counts[channel] >= EDGES_A_CHANNEL or self.count >= len(self.code):
            return
        self._counts[channel] += 1
        self._levels[channel] = held - 1
        self.thinned -= 1
        self.put_in_place(2 * channel + held - 1, self._last[channel])

    def complete(self):
        """No more edges come: all bursts have ended."""
        for channel in range(BEAT):
            self._end_burst(channel)


class Shot:
    """The shot at hand, or the last one. Times of the plan are in ticks."""

    def __init__(self, board):
        self._board = board
        self.edges = ShotEdges(_BURST_APART_MS * board.tick_hz // 1000)
        self.from_tick = 0
        self.to_tick = 0
        self.seen_tick = 0  # of the newest edge read
        self.state = IDLE
        self.number = 0
        self.source = HOST
        self.plan = {}  # type: dict[str, int]
        self.aborted = None  # type: str | None
        self.started_ms = 0
        self.closed_by_ms = 0  # by now every output has opened by itself
        self.until_ms = 0
        self._told = 0  # edges that are events already
        self.stray = 0  # edges that came outside any shot, since the last one

    @property
    def busy(self):
        return self.state != IDLE

    @property
    def taking(self):
        """Whether edges that come now are this shot's."""
        # Asked every turn of the loop: a tuple to look in would be garbage each time.
        return FIRING <= self.state <= LISTENING

    def fire_pair(self, number, source, delay_a, delay_b, lead, closure, window):
        """Close the releases as planned and listen for `window` ticks after the later full-press."""
        later = max(delay_a, delay_b)
        self._begin(number, source, lead + later + closure, lead + later + window)
        self.plan = {
            "delay_a": delay_a,
            "delay_b": delay_b,
            "lead": lead,
            "closure": closure,
            "window": window,
        }
        self._board.start_pair(delay_a, delay_b, lead, closure)

    def fire_pulse(self, output, closure, window):
        """Close one output for `closure` ticks and listen until `window` ticks after it opened."""
        self._begin(0, PULSE, closure, closure + window)
        self.plan = {"output": output, "closure": closure, "window": window}
        self._board.start_pulse(output, closure)

    def _begin(self, number, source, closing, listening):
        board = self._board
        self.edges.clear()
        self.number = number
        self.source = source
        self.aborted = None
        self.started_ms = board.millis()
        self.closed_by_ms = self.started_ms + ticks_to_ms_up(closing, board.tick_hz)
        tick = board.tick()
        self.from_tick = tick - _START_SLACK_US * board.tick_hz // 1000000
        self.to_tick = tick + listening + board.tick_hz // 1000
        self.seen_tick = 0
        # One more: the start fell somewhere inside a millisecond.
        self.until_ms = self.started_ms + ticks_to_ms_up(listening, board.tick_hz) + 1
        self.state = FIRING

    def take(self, channel, level, tick):
        """One edge that came while the shot is taking: its own, or stray."""
        self.seen_tick = tick
        if self.from_tick <= tick <= self.to_tick:
            self.edges.keep(channel, level, tick)
        else:
            self.stray += 1

    def abort(self, why):
        """Note that the outputs were opened before their time; listening goes on, a body may have fired."""
        if self.state == FIRING and self.aborted is None:
            self.aborted = why

    def lines_left(self):
        """Events that are still to be told."""
        return 1 + -(-(self.edges.count - self._told) // EDGES_A_LINE)

    def end(self):
        """The shot is over, told or not."""
        self.state = IDLE

    def advance(self, now):
        """Move on. True once, when the window has ended and no output is busy: then it is to be told."""
        if self.state == FIRING and not self._board.outputs_busy():
            self.state = LISTENING
        if self.state == LISTENING and now >= self.until_ms and not self._coming():
            self.edges.complete()
            self.state = TELLING
            self._told = 0
            return True
        return False

    def _coming(self):
        """Whether edges from inside the window may wait to be read."""
        return self.seen_tick <= self.to_tick and self._board.edges_waiting()

    def due_in(self, now):
        """Milliseconds until this shot needs attention."""
        if self.state == FIRING:
            # Short steps: the software's watch over closures is only as fine as its steps.
            return min(20, max(1, self.closed_by_ms - now))
        return max(0, self.until_ms - now) if self.state == LISTENING else 0

    def tell(self, events):
        """Put the next event: edges, or in the end the `shot` event that says the shot is complete. True when
        that was the last, and the shot is over."""
        edges = self.edges
        if self._told < edges.count:
            self._told = edges.put_event(events, self.number, self._told)
            return False
        record = {
            "shot": self.number,
            "full_a": edges.tick_of_first(FULL_A, 1),
            "full_b": edges.tick_of_first(FULL_B, 1),
            "edges": edges.count,
            "lost": edges.lost,
            "thinned": edges.thinned,
            "stray": self.stray,
            "aborted": self.aborted,
            "plan": self.plan,
        }
        self.stray = 0
        self.state = IDLE
        events.put("shot", record)
        return True
