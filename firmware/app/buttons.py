"""Contacts pressed by a person, made into presses: a press counts when it has held for a moment."""

PRESS_MS = 4  # shorter is a spark or a spike, not a finger
RELEASE_MS = 30  # contacts chatter longer on the way out


class Button:
    """One contact of the board, debounced. `down` is its settled state."""

    def __init__(self, board, name):
        self._board = board
        self._name = name
        # A button held at boot is not a press: it must be let go first.
        self.down = bool(board.pressed(name))
        self._raw = self.down
        self._since_ms = 0

    def changed(self, now):
        """1 when it has just been pressed, -1 when it has just been let go, else 0."""
        raw = bool(self._board.pressed(self._name))
        if raw != self._raw:
            self._raw = raw
            self._since_ms = now
        if raw == self.down or now - self._since_ms < (PRESS_MS if raw else RELEASE_MS):
            return 0
        self.down = raw
        return 1 if raw else -1

    @property
    def settling(self):
        """Whether the contact has moved and the debounce is not over."""
        return self._raw != self.down
