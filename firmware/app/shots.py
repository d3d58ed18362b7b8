"""One pair: idle, armed (the guard's), firing while an output may be closed, listening until the window ends,
telling until its edges are events.

The edges of the shot at hand go into arrays laid out at boot; nothing is allocated while they come. They
become events when the shot is complete, one line a step, so that the loop never stays away from safety.
"""

from array import array

from .pins import FULL_A, FULL_B
from .units import ticks_to_ms_up

IDLE = 0
FIRING = 1
LISTENING = 2
TELLING = 3
STATE_NAMES = ("idle", "firing", "listening", "telling")

EDGES_MOST = 384
EDGES_A_LINE = 16
# Room a full shot may need in the event buffer: 16 edges of at most 16 characters, and the frame around them.
LINE_BYTES_MOST = 384
LINES_MOST = EDGES_MOST // EDGES_A_LINE + 2
BYTES_MOST = LINES_MOST * LINE_BYTES_MOST

HOST = "host"
FIELD = "field"
PULSE = "pulse"

_DELTA_MOST = 0xFFFFFFFF


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
        at = self.at
        end = min(self.count, start + EDGES_A_LINE)
        pairs = []
        before = at[start]
        for i in range(start, end):
            pairs.append(self.code[i])
            pairs.append(at[i] - before)
            before = at[i]
        if not events.put("edges", {"shot": shot, "base": self.base + at[start], "e": pairs}):
            self.lost += end - start
        return end


class Shot:
    """The shot at hand, or the last one. Times of the plan are in ticks."""

    def __init__(self, board):
        self._board = board
        self.edges = Edges()
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
        return self.state in (FIRING, LISTENING)

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
        # One more: the start fell somewhere inside a millisecond.
        self.until_ms = self.started_ms + ticks_to_ms_up(listening, board.tick_hz) + 1
        self.state = FIRING

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
        if self.state == LISTENING and now >= self.until_ms:
            self.state = TELLING
            self._told = 0
            return True
        return False

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
            "stray": self.stray,
            "aborted": self.aborted,
            "plan": self.plan,
        }
        self.stray = 0
        self.state = IDLE
        events.put("shot", record)
        return True
