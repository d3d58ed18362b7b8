"""What the box has to tell: numbered, kept until the host has it safe, in memory that never grows.

Lines are kept encoded, one after another, in a ring of bytes laid out once at boot; a long session
cannot fragment the heap. Edges are kept as numbers, five bytes each, and become a line when it goes out: as text they
would take three times the room. When the ring is full the event is not kept, it is counted, and the count is
told by a `dropped` event as soon as there is room.
"""

import struct
from array import array

from .units import const
from .wire import encode

RING_BYTES = 8192
_RING_LINES = const(160)

_EDGES = const("<BIQ")  # no brace, the shot, the tick of the first edge; then a byte and four an edge
_EDGES_BYTES = const(13)
_BRACE = const(0x7B)  # what every other line begins with


def edges_bytes(count):
    """Bytes of the ring that an event of so many edges takes."""
    return _EDGES_BYTES + 5 * count


def _edges_line(kept, seq):
    """The line of an event that was kept as numbers."""
    _, shot, base = struct.unpack(_EDGES, kept[:_EDGES_BYTES])
    count = (len(kept) - _EDGES_BYTES) // 5
    ticks = array("I", kept[_EDGES_BYTES + count :])
    pairs = []
    before = ticks[0]
    for i in range(count):
        pairs.append(kept[_EDGES_BYTES + i])
        pairs.append(ticks[i] - before)
        before = ticks[i]
    return encode({"shot": shot, "base": base, "e": pairs, "ev": seq, "is": "edges"})


class EventBuffer:
    """Events from oldest not acknowledged to newest; `seq` numbers run from 1 at boot without gaps.

    `ring` is the memory for them, where it had to be taken early; else it is taken here."""

    def __init__(self, ring_bytes=RING_BYTES, ring_lines=_RING_LINES, ring=None):
        self._ring = bytearray(ring_bytes) if ring is None else ring
        self._lengths = array("H", bytes(2 * ring_lines))
        self._first = 0  # place in _lengths of the oldest line kept
        self._count = 0
        self._start = 0  # place in _ring of the oldest line kept
        self._used = 0
        self._oldest = 1  # sequence number of the oldest line kept
        self._sent = 0  # lines already handed out, counted from the oldest
        self._sent_bytes = 0
        self._reserved_bytes = 0
        self._reserved_lines = 0
        self._dropped = 0  # not yet told
        self.dropped = 0  # since boot

    @property
    def last(self):
        """Sequence number of the newest event, 0 before the first."""
        return self._oldest + self._count - 1

    @property
    def unread(self):
        """Events not yet acknowledged."""
        return self._count

    def holds(self, seq):
        """Whether this event is not acknowledged yet."""
        return self._oldest <= seq < self._oldest + self._count

    def room_for(self, size, lines):
        """Whether `lines` more lines of `size` bytes together would be kept."""
        return self._used + self._reserved_bytes + size <= len(
            self._ring
        ) and self._count + self._reserved_lines + lines <= len(self._lengths)

    def reserve(self, size, lines):
        """Keep room for a shot that is about to be fired, so that other events cannot take it."""
        self._reserved_bytes = size
        self._reserved_lines = lines

    def release(self):
        """Give the reserved room back."""
        self._reserved_bytes = 0
        self._reserved_lines = 0

    def put(self, kind, record):
        """Keep one event; its sequence number, or 0 when there was no room and it was only counted."""
        self.tell_dropped()
        return self._counted(self._keep(self._line(kind, record)))

    def put_edges(self, shot, base, codes, ticks):
        """Keep one event of edges: `codes` (array of bytes), `ticks` (array of 32 bit, on any zero), the first at
        `base`. Its sequence number, or 0."""
        self.tell_dropped()
        return self._counted(self._keep(struct.pack(_EDGES, 0, shot, base) + bytes(codes) + bytes(ticks)))

    def _counted(self, seq):
        if not seq:
            self._dropped += 1
            self.dropped += 1
        return seq

    def tell_dropped(self):
        """Say how many events were lost, as soon as there is room to say it."""
        if self._dropped and self._keep(self._line("dropped", {"count": self._dropped})):
            self._dropped = 0

    def _line(self, kind, record):
        record["ev"] = self._oldest + self._count
        record["is"] = kind
        return encode(record)

    def _keep(self, line):
        seq = self._oldest + self._count
        size = len(line)
        if not self.room_for(size, 1):
            return 0
        ring = self._ring
        at = (self._start + self._used) % len(ring)
        head = min(size, len(ring) - at)
        ring[at : at + head] = line[:head]
        if head < size:
            ring[: size - head] = line[head:]
        self._lengths[(self._first + self._count) % len(self._lengths)] = size
        # All at once or not at all: an exception in between would leave the ring askew for good.
        self._used, self._count = self._used + size, self._count + 1
        return seq

    def waits(self):
        """Whether `next_line` has one."""
        return self._sent < self._count

    def next_line(self):
        """The oldest line not yet handed out, as bytes; None when all are out."""
        if self._sent >= self._count:
            return None
        ring = self._ring
        size = self._lengths[(self._first + self._sent) % len(self._lengths)]
        at = (self._start + self._sent_bytes) % len(ring)
        if at + size <= len(ring):
            line = bytes(ring[at : at + size])
        else:
            line = bytes(ring[at:]) + bytes(ring[: at + size - len(ring)])
        if line[0] != _BRACE:
            line = _edges_line(line, self._oldest + self._sent)
        self._sent, self._sent_bytes = self._sent + 1, self._sent_bytes + size
        return line

    def resend(self):
        """Hand everything out again, oldest first."""
        self._sent, self._sent_bytes = 0, 0

    def ack(self, upto):
        """Forget events up to and including `upto`. False, and nothing forgotten, for one not given yet."""
        if upto > self.last:
            return False
        while self._count and self._oldest <= upto:
            size = self._lengths[self._first]
            first = (self._first + 1) % len(self._lengths)
            start = (self._start + size) % len(self._ring)
            out = 1 if self._sent else 0
            sent, sent_bytes = self._sent - out, self._sent_bytes - out * size
            kept = (first, start, self._used - size, self._count - 1, self._oldest + 1, sent, sent_bytes)
            s = self  # one line: one assignment, whatever happens between two lines
            s._first, s._start, s._used, s._count, s._oldest, s._sent, s._sent_bytes = kept
        return True
