"""Contacts pressed by a person, made into presses: a press counts when it has held for a moment."""

from .units import const

PRESSED = ("button_half", "button_full", "wound", "preset")
_PRESS_MS = const(4)  # shorter is a spark or a spike, not a finger
_RELEASE_MS = const(30)  # contacts chatter longer on the way out
LOOK_MS = 4  # between two looks of the board's, taken while the loop is held up


class Button:
    """One contact of the board, debounced. `down` is its settled state."""

    def __init__(self, raw):
        # A button held at boot is not a press: it must be let go first.
        self.down = raw
        self._raw = raw
        self._since_ms = 0

    def changed(self, raw, now):
        """1 when it has just been pressed, -1 when it has just been let go, else 0; `raw`: whether it is closed now."""
        if raw != self._raw:
            self._raw = raw
            self._since_ms = now
        if raw == self.down or now - self._since_ms < (_PRESS_MS if raw else _RELEASE_MS):
            return 0
        self.down = raw
        return 1 if raw else -1

    @property
    def settling(self):
        """Whether the contact has moved and the debounce is not over."""
        return self._raw != self.down
