"""Milliseconds that never wrap, from MicroPython's that do."""

import time


class Millis:
    """Milliseconds since it was made; to be asked at least once in six days."""

    def __init__(self):
        self._last = time.ticks_ms()
        self._total = 0

    def now(self):
        ticks = time.ticks_ms()
        self._total += time.ticks_diff(ticks, self._last)
        self._last = ticks
        return self._total
