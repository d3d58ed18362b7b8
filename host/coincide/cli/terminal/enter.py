"""The Enter key while something else is going on: 'wound' from the keyboard."""

from __future__ import annotations

import sys
import threading

ENDS_MOST = 100


class EnterKey:
    """Counts Enters typed at the terminal from the first question on; one a command, as two would take each other's
    keys. Where there is no terminal it never hears one."""

    def __init__(self) -> None:
        self._pressed = threading.Event()
        self._listening = False

    def pressed(self) -> bool:
        """True once for each Enter since the last call."""
        if not self._listening:
            self._listening = True
            if sys.stdin is not None and sys.stdin.isatty():
                # A daemon: it waits in a read that nothing can interrupt on every system.
                threading.Thread(target=self._listen, daemon=True).start()
        was = self._pressed.is_set()
        self._pressed.clear()
        return was

    def _listen(self) -> None:
        ends = 0
        while ends < ENDS_MOST:
            # Ctrl-D at an empty line looks like the end, and is none at a terminal; one that is gone gives only ends.
            try:
                line = sys.stdin.readline()
            except (OSError, ValueError):
                return  # the terminal was closed
            ends = 0 if line else ends + 1
            if line:
                self._pressed.set()
