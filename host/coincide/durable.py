"""Small files that are there whole or not at all, and stay there when the power goes."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from coincide.errors import BadInput


def write_new(path: Path, content: bytes) -> None:
    """Make a new file: under its name only once all of it is on the disk.

    Raises FileExistsError when there is one of that name, which stays as it is, and OSError when it cannot be
    written; then nothing of it stays.
    """
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        _write_through(unfinished, content)
        _give_name(unfinished, path)
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink()
    sync_folder(path.parent)


def replace_whole(path: Path, content: bytes) -> None:
    """The file with this content, in place of one of that name: the old content or the new, never part of either.

    Raises OSError when it cannot be written; then the old content stays.
    """
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        _write_through(unfinished, content)
        os.replace(unfinished, path)
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink()
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder durable, where the system can."""
    if not hasattr(os, "O_DIRECTORY"):
        return
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _write_through(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _give_name(unfinished: Path, path: Path) -> None:
    try:
        os.link(unfinished, path)
    except FileExistsError:
        raise
    except OSError:
        # A file system without links, such as a memory card's: look first, then rename.
        if path.exists():
            raise FileExistsError(f"{path} exists already") from None
        os.rename(unfinished, path)


def make_folder(folder: Path) -> None:
    """The folder, made where it is not there. Raises BadInput where it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"The folder {folder} cannot be made: {error.strerror}.") from error
