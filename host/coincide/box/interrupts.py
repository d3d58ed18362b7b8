"""Ctrl-C, or a wish of the system to end, as a wish to end well: noticed between steps, so no pair is half written.

Twice ends at once.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable
from types import FrameType, TracebackType

Handler = Callable[[int, FrameType | None], object]


class Interrupts:
    """While open, the first Ctrl-C sets `wished`, and so does SIGTERM where the program has a handler for it; the
    second does what it did before."""

    def __init__(self) -> None:
        self.wished = False
        self._before: dict[int, Handler] = {}

    def __enter__(self) -> Interrupts:
        if threading.current_thread() is threading.main_thread():
            for number in (signal.SIGINT, signal.SIGTERM):
                before = signal.getsignal(number)
                ours = before is signal.default_int_handler if number == signal.SIGINT else callable(before)
                if ours and callable(before):
                    self._before[number] = before
                    signal.signal(number, self._noticed)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for number, before in self._before.items():
            signal.signal(number, before)

    def _noticed(self, number: int, frame: FrameType | None) -> None:
        if self.wished:
            self._before[number](number, frame)
        self.wished = True
