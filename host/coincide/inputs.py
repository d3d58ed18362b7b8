"""What a person names to be read: an ordinary file, none too large, or a sentence."""

from __future__ import annotations

import stat
from pathlib import Path

from coincide.errors import BadInput


def sayable(text: str) -> str:
    """The text as Unicode can hold it: a file's name may be bytes that are none, and '?' stands for those."""
    return text.encode("utf-8", "replace").decode("utf-8")


def refuse_unless_ordinary(path: Path, what: str) -> None:
    """Raises BadInput for a folder, and for pipes and devices, which may never end. One that is not there passes: who
    opens it says so in words of its own. `what` should have been named."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:
        raise BadInput(
            f"{path!s:.200} cannot be read: {getattr(error, 'strerror', None) or error}."
        ) from None
    if stat.S_ISDIR(mode):
        raise BadInput(f"{path} is a folder: name {what} in it.")
    if not stat.S_ISREG(mode):
        raise BadInput(f"{path} is no ordinary file but a pipe or a device: save it, and name {what}.")


def read_bytes(path: Path, what: str, most_bytes: int) -> bytes:
    """All of a file. Raises BadInput where it is not there, not ordinary, may not be read, or is larger."""
    refuse_unless_ordinary(path, what)
    try:
        with path.open("rb") as file:
            content = file.read(most_bytes + 1)
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    if len(content) > most_bytes:
        raise BadInput(f"{path} is larger than {most_bytes >> 20} MiB: it is not {what}.")
    return content
