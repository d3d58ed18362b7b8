"""The serial line, both ways: whole lines in, one line at a time out, never more than a box can hold."""

from .units import const
from .wire import LineReader, encode

_HELD_MOST = const(2048)  # no request is read while more than this waits to go out
_PIECE_BYTES = const(64)  # a packet of the port
_PIECES_A_STEP = const(8)  # and then back to the loop, where safety comes first
_STALLED_MS = const(2)  # the port took no more: try again so soon


class Link:
    """Requests in arrival order; replies before events, each line finished before the next is begun."""

    def __init__(self, board, events):
        self._board = board
        self._events = events
        self._reader = LineReader()
        self._unread = b""
        self._at = 0
        self._replies = []  # type: list[bytes]
        self._held = 0
        self._going = memoryview(b"")  # the line that is going out, and how much of it is gone
        self._gone = 0

    def next_requests(self):
        """What the next complete line brought: a list of records and `Refused`s, [] while a line is not
        whole, None when there is nothing to read (or no room to answer)."""
        if self._held > _HELD_MOST:
            return None
        if self._at >= len(self._unread):
            self._unread = self._board.serial_read()
            self._at = 0
            if not self._unread:
                return None
        end = self._unread.find(b"\n", self._at)
        end = len(self._unread) if end < 0 else end + 1
        piece = self._unread[self._at : end]
        self._at = end
        return self._reader.feed(piece)

    def drop(self):
        """Something failed while a line was taken: what has arrived of it is no part of the next."""
        self._reader.drop()

    @property
    def reading(self):
        """Whether requests wait that `next_requests` would answer at once."""
        return self._at < len(self._unread) and self._held <= _HELD_MOST

    def reply(self, record):
        """Queue one reply."""
        line = encode(record)
        self._replies.append(line)
        self._held += len(line)

    def send(self):
        """Write a few packets, or what the port takes. Milliseconds until there is more to do, -1 for nothing."""
        for _ in range(_PIECES_A_STEP):
            if self._gone >= len(self._going):
                if self._replies:
                    line = self._replies.pop(0)
                    self._held -= len(line)
                elif not self._events.waits():
                    return -1
                else:
                    line = self._events.next_line()
                self._going, self._gone = memoryview(line), 0
            begun = self._gone
            # Counted in the statement that sends: a fault in between must not send a piece twice.
            self._gone += self._board.serial_write(self._going[begun : begun + _PIECE_BYTES])
            if self._gone < min(begun + _PIECE_BYTES, len(self._going)):
                return _STALLED_MS
        return 0
