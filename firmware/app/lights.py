"""The two LEDs, blue and orange: every pattern as data, told apart by rhythm as well as by colour.

A pattern is a tuple of steps (blue, orange, milliseconds); the last step is followed by dark, except in
the steady ones, which stay.
"""

WITHIN = "within"
OUT = "out"
NO_ANSWER_A = "no_answer_a"
NO_ANSWER_B = "no_answer_b"
NO_ANSWER_BOTH = "no_answer_both"
NOT_MEASURED = "not_measured"
DARK = "dark"
ARMED = "armed"
NOT_WOUND = "not_wound"
REFUSED = "refused"
FAULT = "fault"
LOG_FULL = "log_full"
DAMAGED = "damaged"
BOOT = "boot"

_LONG = 900
_SHORT = 150
_GAP = 150
_PAUSE = 500


def _flashes(blue, orange, count, on_ms=_SHORT, off_ms=_GAP):
    return ((blue, orange, on_ms), (0, 0, off_ms)) * count


# What each one says, for the docs: name, what it means, what is seen, steps, stays.
PATTERNS = (
    (WITHIN, "the pair is within tolerance", "blue, one long flash", ((1, 0, _LONG),), False),
    (OUT, "the pair is out of tolerance", "orange, four quick flashes", _flashes(0, 1, 4), False),
    (
        NO_ANSWER_A,
        "body A did not answer",
        "orange long, then one short, twice",
        (((0, 1, _LONG), (0, 0, _GAP)) + _flashes(0, 1, 1) + ((0, 0, _PAUSE),)) * 2,
        False,
    ),
    (
        NO_ANSWER_B,
        "body B did not answer",
        "orange long, then two short, twice",
        (((0, 1, _LONG), (0, 0, _GAP)) + _flashes(0, 1, 2) + ((0, 0, _PAUSE),)) * 2,
        False,
    ),
    (
        NO_ANSWER_BOTH,
        "neither body answered",
        "orange long, then three short, twice",
        (((0, 1, _LONG), (0, 0, _GAP)) + _flashes(0, 1, 3) + ((0, 0, _PAUSE),)) * 2,
        False,
    ),
    (
        NOT_MEASURED,
        "the pair was fired and not measured",
        "both together, two short flashes far apart",
        ((1, 1, _SHORT), (0, 0, _LONG), (1, 1, _SHORT)),
        False,
    ),
    (DARK, "ready, or off", "dark", ((0, 0, 0),), False),
    (ARMED, "armed by the laptop: the releases may close", "blue, steady", ((1, 0, 0),), True),
    (
        NOT_WOUND,
        "not fired: wind both bodies, then press 'wound'",
        "blue and orange in turn, three times",
        ((1, 0, 300), (0, 1, 300)) * 3,
        False,
    ),
    (
        REFUSED,
        "not fired: too soon, or the laptop has the box",
        "orange, one short flash",
        ((0, 1, _SHORT),),
        False,
    ),
    (
        FAULT,
        "the interlock is open, or something failed: outputs are open",
        "orange, flickering for two seconds",
        _flashes(0, 1, 20, 50, 50),
        False,
    ),
    (
        LOG_FULL,
        "the frame log is full or failed: this frame was fired and not logged",
        "orange, three long flashes",
        _flashes(0, 1, 3, _LONG, 300),
        False,
    ),
    (
        DAMAGED,
        "the stored settings were damaged: the button does not fire until they are stored again",
        "orange long, blue long, twice",
        ((0, 1, _LONG), (1, 0, _LONG)) * 2,
        False,
    ),
    (BOOT, "the box has started", "both, half a second", ((1, 1, 500),), False),
)

_STEPS = {row[0]: (row[3], row[4]) for row in PATTERNS}


def preset_steps(number):
    """Preset `number` (from 1) chosen: so many blue flashes, slow enough to count."""
    return _flashes(1, 0, number, 200, 300)


class Lights:
    """Plays patterns; one that is shown while another plays waits its turn, one deep."""

    def __init__(self, board):
        self._board = board
        self._steps = ()  # type: tuple[tuple[int, int, int], ...]
        self._stays = False
        self._at = 0
        self._next_ms = -1  # -1: nothing to do
        self._then = None  # type: str | None
        self.name = DARK
        board.lights(0, 0)

    def show(self, name, now):
        """Begin a pattern now."""
        steps, stays = _STEPS[name]
        self._play(name, steps, stays, now)

    def show_preset(self, number, now):
        """Begin the count of a preset, from 1."""
        self._play("preset %d" % number, preset_steps(number), False, now)

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
                blue, orange, ms = self._steps[self._at]
                self._board.lights(blue, orange)
                self._at += 1
                self._next_ms += ms
                if self._stays and self._at == len(self._steps):
                    self._next_ms = -1
            else:
                self._board.lights(0, 0)
                self._next_ms = -1
                self.name = DARK
                if self._then is not None:
                    name = self._then
                    self._then = None
                    steps, stays = _STEPS[name]
                    # A breath between two patterns, or they read as one.
                    self._play(name, ((0, 0, _PAUSE),) + steps, stays, now)

    def due_in(self, now):
        """Milliseconds until the next step."""
        return 1000 if self._next_ms < 0 else max(0, self._next_ms - now)
