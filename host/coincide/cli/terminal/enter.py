"""The Enter key while something else is going on: 'wound' from the keyboard."""

from __future__ import annotations

import sys
import threading


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
        for _ in sys.stdin:
            self._pressed.set()
