"""What was begun and has not ended: a note beside the sessions, by which the next run can say so and go on."""

from __future__ import annotations

import contextlib
import json
from dataclasses import asdict, dataclass
from pathlib import Path

from coincide.durable import replace_whole
from coincide.errors import BadInput

LARGEST_NOTE_BYTES = 4096
MOST_PAIRS = 1_000_000


@dataclass(frozen=True, slots=True)
class Begun:
    """pairs: how many each part was to hold; sessions: their files, by name, in the folder of the note."""

    pairs: tuple[int, ...]
    sessions: tuple[str, ...]


class Unfinished:
    """The note called `name` in `folder`: there from the beginning of a run until its end."""

    def __init__(self, folder: Path, name: str) -> None:
        self.folder = folder
        self._path = folder / f"{name}.unfinished.json"

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
