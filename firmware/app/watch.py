"""Listening without firing: edges go out as they come, cut into groups by a stretch of quiet."""

from .shots import EDGES_A_LINE, Edges
from .units import const

_FLUSH_MS = const(50)  # an edge waits no longer than this for company in its line


class Watch:
    """`on` while listening. A group is whatever comes until `gap` ticks pass without an edge."""

    def __init__(self, board, events):
        self._board = board
        self._events = events
        self._edges = Edges(EDGES_A_LINE)
        self._gap = 0
        self._gap_ms = 0
        self._last = 0  # tick of the last edge
        self._count = 0  # edges of the open group
        self._lost = 0
        self._flush_ms = 0
        self._quiet_ms = 0
        self.on = False
        self.group = 0

    def start(self, gap, gap_ms):
        """Listen; a group ends after `gap` ticks (the same in whole milliseconds: `gap_ms`) of quiet."""
        self.end_group()
        self._gap = gap
        self._gap_ms = gap_ms
        self.on = True

    def stop(self):
        """Listen no more; an open group is ended and told."""
        self.end_group()
        self.on = False

    def keep(self, channel, level, tick):
        """Take one edge."""
        if self._count and tick - self._last > self._gap:
            self.end_group()
        now = self._board.millis()
        if self._edges.count == 0:
            self._flush_ms = now + _FLUSH_MS
        self._last = tick
        self._quiet_ms = now + self._gap_ms + 1
        self._count += 1
        self._edges.keep(channel, level, tick)
        if self._edges.count >= EDGES_A_LINE:
            self._flush()

    def lose(self, count):
        """Count edges the sampler could not keep into the open group."""
        self._lost += count

    def _flush(self):
        if self._edges.count:
            self._edges.put_event(self._events, 0, 0)
            self._lost += self._edges.lost
            self._edges.clear()

    def end_group(self):
        """Close the open group, if there is one, and tell it."""
        if not self._count:
            return
        self._flush()
        self.group += 1
        self._events.put("group", {"group": self.group, "edges": self._count, "lost": self._lost})
        self._count = 0
        self._lost = 0

    def advance(self, now):
        """Send what has waited long enough; end a group that has gone quiet."""
        if not self._count:
            return
        if now >= self._quiet_ms:
            self.end_group()
        elif self._edges.count and now >= self._flush_ms:
            self._flush()

    def due_in(self, now):
        """Milliseconds until `advance` has something to do."""
        if not self._count:
            return 1000
        due = self._quiet_ms
        if self._edges.count and self._flush_ms < due:
            due = self._flush_ms
        return max(0, due - now)
