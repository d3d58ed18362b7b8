"""Permission to close an output, and the watch that no output stays closed without it.

The release hardware ends every closure by itself and opens on the interlock; this is the second line, in
software, which needs neither to be right.
"""

from .messages import SILENCE_MS
from .units import const

OUTPUT_NAMES = ("half_a", "full_a", "half_b", "full_b")
_FULL_MOST_MS = const(5000)
HALF_MOST_MS = 60000
# A closure is seen closed up to a step late and its length is rounded to milliseconds.
MARGIN_MS = 10

SAY = {
    "interlock": "The interlock opened: all outputs are open and the box is disarmed.",
    "arm_timeout": "The arm ran out: arm again before the next shot.",
    "silence": "The host was silent while the box was armed: all outputs are open and the box is disarmed.",
    "closure": "Output %s stayed closed past its limit and was opened: check its isolator.",
}


class Guard:
    """Armed or not, until when; which outputs may be closed, for how long."""

    def __init__(self, board):
        self._board = board
        self._armed = False
        self._armed_until_ms = 0
        self._heard_ms = -SILENCE_MS
        self._interlock_closed = bool(board.interlock_closed())
        # A shorted lead or capacitor reads closed for ever: nobody may fire until it was seen open since the start.
        self._seen_open = not self._interlock_closed
        self._since_ms = [-1, -1, -1, -1]
        self._limit_ms = [0, 0, 0, 0]

    @property
    def armed(self):
        return self._armed

    def armed_ms(self, now):
        """Milliseconds of arm left; 0 when not armed."""
        return max(0, self._armed_until_ms - now) if self._armed else 0

    @property
    def interlock_closed(self):
        return self._interlock_closed

    @property
    def interlock_proved(self):
        """Whether it has been seen open since the box started."""
        return self._seen_open

    def heard(self, now):
        """A whole line came from the host."""
        self._heard_ms = now

    def host_present(self, now):
        """Whether the host was heard of late."""
        return now - self._heard_ms < SILENCE_MS

    def arm(self, now, timeout_ms):
        self._armed = True
        self._armed_until_ms = now + timeout_ms
        self._heard_ms = now

    def disarm(self):
        self._armed = False

    def keep_armed_until(self, until_ms):
        """An arm lasts at least as long as the closures it allowed."""
        self._armed_until_ms = max(self._armed_until_ms, until_ms)

    def permit(self, half_ms, full_ms):
        """Outputs may be closed from now on, each for so long at a time."""
        self._limit_ms[0] = self._limit_ms[2] = min(half_ms, HALF_MOST_MS)
        self._limit_ms[1] = self._limit_ms[3] = min(full_ms, _FULL_MOST_MS)
        since = self._since_ms
        since[0] = since[1] = since[2] = since[3] = -1

    def withdraw(self):
        """No output may be closed from now on."""
        for i in range(4):
            self._limit_ms[i] = 0

    def read_interlock(self):
        """Read the interlock now. True when it has opened since the last reading."""
        closed = bool(self._board.interlock_closed())
        opened = self._interlock_closed and not closed
        self._interlock_closed = closed
        if not closed:
            self._seen_open = True
        return opened

    def overstayed(self, now):
        """The name of an output closed longer than it may be, or None."""
        mask = self._board.outputs_closed()
        since = self._since_ms
        if not mask:
            since[0] = since[1] = since[2] = since[3] = -1
            return None
        for i in range(4):
            if not mask & (1 << i):
                since[i] = -1
                continue
            if since[i] < 0:
                since[i] = now
            limit = self._limit_ms[i]
            if limit == 0 or now - since[i] > limit + MARGIN_MS:
                return OUTPUT_NAMES[i]
        return None

    def expired(self, now):
        """'arm_timeout' or 'silence' when the arm has to end now, else None."""
        if not self._armed:
            return None
        if now - self._heard_ms >= SILENCE_MS:
            return "silence"
        if now >= self._armed_until_ms:
            return "arm_timeout"
        return None

    def due_in(self, now):
        """Milliseconds until the arm may run out."""
        if not self._armed:
            return 1000
        return max(0, min(self._armed_until_ms, self._heard_ms + SILENCE_MS) - now)
