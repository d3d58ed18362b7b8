"""The serial line, both ways: whole lines in, one line at a time out, never more than a box can hold."""

from .wire import LineReader, encode

HELD_MOST = 2048  # no request is read while more than this waits to go out
LINES_A_STEP = 4  # and then back to the loop, where safety comes first
STALLED_MS = 2  # the port took no more: try again so soon


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
        self._going = b""

    def next_requests(self):
        """What the next complete line brought: a list of records and `Refused`s, [] while a line is not
        whole, None when there is nothing to read (or no room to answer)."""
        if self._held > HELD_MOST:
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
        return self._at < len(self._unread) and self._held <= HELD_MOST

    def reply(self, record):
        """Queue one reply."""
        line = encode(record)
        self._replies.append(line)
        self._held += len(line)

    def send(self):
        """Write a few lines, or what the port takes. Milliseconds until there is more to do, -1 for nothing."""
        for _ in range(LINES_A_STEP):
            if not self._going:
                if self._replies:
                    self._going = self._replies.pop(0)
                    self._held -= len(self._going)
                else:
                    line = self._events.next_line()
                    if line is None:
                        return -1
                    self._going = line
            taken = self._board.serial_write(self._going)
            if taken >= len(self._going):
                self._going = b""
            else:
                self._going = self._going[taken:]
                return STALLED_MS
        return 0
