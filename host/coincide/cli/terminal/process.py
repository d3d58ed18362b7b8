"""The process the commands run in: its streams and signals, made what a command may rely on."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
import threading
from types import FrameType
from typing import NoReturn

from coincide.cli.terminal.show import print_anything

TERMINATED = 128 + signal.SIGTERM


def prepare() -> None:
    """Before anything else is opened."""
    _fill_closed_streams()
    print_anything()
    # We draw into files; a window system named for other programs is none of ours, and a wrong one stops matplotlib.
    os.environ.pop("MPLBACKEND", None)
    # An end by the system unwinds like any other: outputs opened, files closed, the cursor shown again.
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGTERM, _end)


def _fill_closed_streams() -> None:
    """A closed standard stream is the empty one. Left closed, its number would go to the next file that is opened, and
    what is printed into that."""
    while (descriptor := os.open(os.devnull, os.O_RDWR)) <= 2:
        pass
    os.close(descriptor)
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115 - as long as the process


def _end(_number: int, _frame: FrameType | None) -> NoReturn:
    sys.exit(TERMINATED)


def flush() -> None:
    """What is printed leaves now, where a failure of it can still be told."""
    sys.stdout.flush()


def give_up_output() -> None:
    """Standard output can take no more: the interpreter must not try again at its end."""
    with contextlib.suppress(OSError, ValueError):  # a stream that is no file has no number
        number = sys.stdout.fileno()
        empty = os.open(os.devnull, os.O_WRONLY)
        os.dup2(empty, number)
        os.close(empty)


def leave_quietly() -> NoReturn:
    """Nobody reads any more: leave with success, and without the interpreter's own complaint."""
    give_up_output()
    sys.exit(0)
