"""Who has a port: a lock file a port, so that a second program can be told by whom it is held."""

from __future__ import annotations

import contextlib
import json
import os
import re
import socket
from pathlib import Path

import platformdirs

from coincide.errors import BoxFailed
from coincide.session.lock import lock_exclusively

_LARGEST_BYTES = 4096


class PortClaim:
    """A claim to the port called `name`. The lock dies with the process; the file only says who held it."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._descriptor = -1

    def take(self) -> None:
        """Claim the port. Raises BoxFailed naming the program that has it."""
        if self._descriptor >= 0:
            return
        path = _claim_path(self._name)
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
        except OSError:
            # No place for lock files: the port's own exclusive opening has to do.
            return
        try:
            lock_exclusively(descriptor)
        except OSError as error:
            os.close(descriptor)
            raise BoxFailed(
                f"The port {self._name} is in use by {_holder(path)}: end that run first."
            ) from error
        self._descriptor = descriptor
        with contextlib.suppress(OSError):
            os.ftruncate(descriptor, 0)
            os.write(descriptor, json.dumps({"pid": os.getpid(), "host": socket.gethostname()}).encode())

    def release(self) -> None:
        """Give the claim up."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1


def _claim_path(name: str) -> Path:
    folder = Path(platformdirs.user_cache_dir("coincide")) / "ports"
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
    return folder / (re.sub(r"[^A-Za-z0-9.-]+", "_", os.path.realpath(name)).strip("_") + ".lock")


def _holder(path: Path) -> str:
    try:
        if not path.is_file():
            return "another run of coincide"
        with path.open("rb") as file:
            said = json.loads(file.read(_LARGEST_BYTES))
        return f"another run of coincide (process {int(said['pid'])} on {said['host']!s:.60})"
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return "another run of coincide"
