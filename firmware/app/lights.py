"""The two LEDs, blue and orange: every pattern as data, told apart by rhythm as well as by colour.

A pattern is a row of steps; the last step is followed by dark, except in the steady ones, which stay. What each
means says `light_words.py`, which no board loads.
"""

from .units import const

WITHIN = "within"
OUT = "out"
NO_ANSWER_A = "no_answer_a"
NO_ANSWER_B = "no_answer_b"
NO_ANSWER_BOTH = "no_answer_both"
NOT_MEASURED = "not_measured"
BLACK_A = "black_a"
BLACK_B = "black_b"
BLACK_BOTH = "black_both"
DARK = "dark"
ARMED = "armed"
NOT_WOUND = "not_wound"
REFUSED = "refused"
FAULT = "fault"
LOG_FULL = "log_full"
DAMAGED = "damaged"
BOOT = "boot"

_OFF = const(0)
_BLUE = const(1)
_ORANGE = const(2)
_BOTH = const(3)
_LONG = const(90)  # in hundredths of a second, as all lengths of the patterns
_SHORT = const(15)
_GAP = const(15)
_PAUSE = const(50)

# Two bytes a step: which are lit, and for how long. As tuples these would take six kilobytes of a board's memory.
_ONE = bytes((_ORANGE, _SHORT, _OFF, _GAP))
_BODY = bytes((_ORANGE, _LONG, _OFF, _GAP))
_BLACK = _BODY * 2
_END = bytes((_OFF, _PAUSE))
STEPS = {
    WITHIN: bytes((_BLUE, _LONG)),
    OUT: _ONE * 4,
    NO_ANSWER_A: (_BODY + _ONE + _END) * 2,
    NO_ANSWER_B: (_BODY + _ONE * 2 + _END) * 2,
    NO_ANSWER_BOTH: (_BODY + _ONE * 3 + _END) * 2,
    NOT_MEASURED: bytes((_BOTH, _SHORT, _OFF, _LONG, _BOTH, _SHORT)),
    BLACK_A: (_BLACK + _ONE + _END) * 2,
    BLACK_B: (_BLACK + _ONE * 2 + _END) * 2,
    BLACK_BOTH: (_BLACK + _ONE * 3 + _END) * 2,
    DARK: bytes((_OFF, 0)),
    ARMED: bytes((_BLUE, 0)),
    NOT_WOUND: bytes((_BLUE, 30, _ORANGE, 30)) * 3,
    REFUSED: bytes((_ORANGE, _SHORT)),
    FAULT: bytes((_ORANGE, 5, _OFF, 5)) * 20,
    LOG_FULL: bytes((_ORANGE, _LONG, _OFF, 30)) * 3,
    DAMAGED: bytes((_ORANGE, _LONG, _BLUE, _LONG)) * 2,
    BOOT: bytes((_BOTH, 50)),
}
STAYS = (ARMED,)


class Lights:
    """Plays patterns; one that is shown while another plays waits its turn, one deep."""

    def __init__(self, board):
        self._board = board
        self._steps = b""
        self._stays = False
        self._at = 0
        self._next_ms = -1  # -1: nothing to do
        self._then = None  # type: str | None
        self.name = DARK
        board.lights(0, 0)

    def show(self, name, now):
        """Begin a pattern now."""
        self._play(name, STEPS[name], name in STAYS, now)

    def show_preset(self, number, now):
        """Begin the count of a preset, from 1."""
        # So many blue flashes, slow enough to count.
        self._play("preset %d" % number, bytes((_BLUE, 20, _OFF, 30)) * number, False, now)

    def then(self, name):
        """Show another pattern after the one that plays."""
        self._then = name

    def _play(self, name, steps, stays, now):
        self.name = name
        self._steps = steps
        self._stays = stays
        self._at = 0
        self._then = None
        self._next_ms = now
        self.advance(now)

    def advance(self, now):
        """Do the steps that are due."""
        while 0 <= self._next_ms <= now:
            if self._at < len(self._steps):
                lit = self._steps[self._at]
                self._board.lights(lit & 1, lit >> 1)
                self._next_ms += 10 * self._steps[self._at + 1]
                self._at += 2
                if self._stays and self._at == len(self._steps):
                    self._next_ms = -1
            else:
                self._board.lights(0, 0)
                self._next_ms = -1
                self.name = DARK
                if self._then is not None:
                    name = self._then
                    self._then = None
                    # A breath between two patterns, or they read as one.
                    self._play(name, _END + STEPS[name], name in STAYS, now)

    def due_in(self, now):
        """Milliseconds until the next step."""
        return 1000 if self._next_ms < 0 else max(0, self._next_ms - now)
