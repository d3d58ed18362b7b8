"""Ctrl-C as a wish to end well: it is noticed between steps, so no pair is half written. Twice ends at once."""

from __future__ import annotations

import signal
import threading
from types import FrameType, TracebackType


class Interrupts:
    """While open, the first Ctrl-C sets `wished`; the second raises KeyboardInterrupt as ever."""

    def __init__(self) -> None:
        self.wished = False
        self._before: signal.Handlers | None = None

    def __enter__(self) -> Interrupts:
        if threading.current_thread() is threading.main_thread():
            before = signal.getsignal(signal.SIGINT)
            if before is signal.default_int_handler:
                self._before = signal.default_int_handler  # type: ignore[assignment]
                signal.signal(signal.SIGINT, self._noticed)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, signal.default_int_handler)

    def _noticed(self, number: int, frame: FrameType | None) -> None:
        if self.wished:
            raise KeyboardInterrupt
        self.wished = True
