"""What was begun and has not ended: a note beside the sessions, by which the next run can say so and go on."""

from __future__ import annotations

import contextlib
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from coincide.durable import replace_whole
from coincide.errors import BadInput
from coincide.session.lock import lock_exclusively

LARGEST_NOTE_BYTES = 4096
MOST_PAIRS = 1_000_000


@dataclass(frozen=True, slots=True)
class Begun:
    """pairs: how many each part was to hold; sessions: their files, by name, in the folder of the note."""

    pairs: tuple[int, ...]
    sessions: tuple[str, ...]


class Unfinished:
    """The note called `name` in `folder`: there from the beginning of a run until its end.

    A run that is going on holds its note (`hold`) until it leaves it or its process ends: then it was not broken off.
    """

    def __init__(self, folder: Path, name: str) -> None:
        self.folder = folder
        self._path = folder / f"{name}.unfinished.json"
        self._lock_path = folder / f".{name}.lock"
        self._descriptor: int | None = None

    @property
    def there(self) -> bool:
        """Whether a run has left it."""
        return self._path.exists()

    def hold(self) -> bool:
        """Keep it for this run alone; False where another run that is going on has it. A folder in which no file can be
        locked holds nobody up."""
        descriptor = None
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(self._lock_path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o666)
            lock_exclusively(descriptor)
            if os.fstat(descriptor).st_ino != self._lock_path.stat().st_ino:
                raise BlockingIOError  # its run left it, and another made a new one, between these two lines
        except (BlockingIOError, PermissionError):
            if descriptor is None:
                return True  # not even the file: the folder says so itself when the session is begun
            os.close(descriptor)
            return False
        except OSError:
            if descriptor is not None:
                os.close(descriptor)
            return True
        self._descriptor = descriptor
        return True

    def leave(self) -> None:
        """The run is over, whether it came to its end or not."""
        if self._descriptor is None:
            return
        with contextlib.suppress(OSError):
            self._lock_path.unlink()
        os.close(self._descriptor)
        self._descriptor = None

    def read(self, parts: int) -> Begun | None:
        """What an earlier run of so many parts left, or None. A note that makes no sense is none: it only spares
        work."""
        try:
            if not self._path.is_file():
                return None
            with self._path.open("rb") as file:
                found = json.loads(file.read(LARGEST_NOTE_BYTES + 1)[:LARGEST_NOTE_BYTES])
            pairs, sessions = found["pairs"], found["sessions"]
            sound = all(type(count) is int and 0 < count <= MOST_PAIRS for count in pairs) and all(
                _is_plain_name(name) for name in sessions
            )
            return (
                Begun(tuple(pairs), tuple(sessions))
                if sound and len(pairs) == len(sessions) == parts
                else None
            )
        except (OSError, ValueError, KeyError, TypeError, RecursionError):
            return None

    def note(self, begun: Begun) -> None:
        """Remember what is begun now. Raises BadInput where it cannot be written."""
        try:
            replace_whole(self._path, json.dumps(asdict(begun)).encode())
        except OSError as error:
            raise BadInput(
                f"{self._path} could not be written ({error.strerror}): make room or mend the folder."
            ) from error

    def forget(self) -> None:
        """It has ended."""
        with contextlib.suppress(OSError):
            self._path.unlink()


def _is_plain_name(name: object) -> bool:
    """Whether it is the name of a session in a folder, and leads out of none."""
    return (
        isinstance(name, str)
        and name.endswith(".jsonl")
        and len(name) < 200
        and name.isprintable()
        and not set(name) & set("/\\:")
        and not name.startswith(".")
    )
