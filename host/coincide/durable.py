"""Small files that are there whole or not at all, and stay there when the power goes."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from pathlib import Path

from coincide.errors import BadInput

# What pictures and pages of ours carry: PNG, PDF, SVG, HTML.
_OURS = (
    b"Software\0coincide",
    b"/Creator (coincide)",
    b"<dc:title>coincide</dc:title>",
    b'name="generator" content="coincide',
)
_KIND_BYTES = 4
_OURS_MOST_BYTES = 64 << 20


def write_outputs(contents: Mapping[Path, bytes]) -> list[Path]:
    """Files that can be made again, such as pictures and pages: all of them or, with a reason, none. Their paths.

    What lies under one of these names is replaced only where it carries our own mark and is of the same kind, and is
    left alone where it is the same already. Raises BadInput, with nothing written, where a file of somebody else's is
    in the way, and where the disk is full or the folder may not be written.
    """
    fresh: list[Path] = []
    again: list[Path] = []
    for path, content in contents.items():
        if not (path.exists() or path.is_symlink()):
            fresh.append(path)
        elif not _may_replace(path, content):
            raise BadInput(
                f"{path} exists already and is not one that coincide can make again: it stays as it is. Choose "
                "another folder or name."
            )
        elif path.read_bytes() != content:
            again.append(path)
    made: list[Path] = []
    try:
        for path in fresh:
            write_new(path, contents[path])
            made.append(path)
        for path in again:
            replace_whole(path, contents[path])
    except OSError as error:
        for path in made:
            with contextlib.suppress(OSError):
                path.unlink()
        why = "another program made it just now" if isinstance(error, FileExistsError) else error.strerror
        raise BadInput(f"{path} cannot be written: {why}.") from error
    return list(contents)


def _may_replace(path: Path, content: bytes) -> bool:
    """Whether a file is the same as, or an earlier making of, what is to be written."""
    try:
        if not path.is_file() or path.stat().st_size > _OURS_MOST_BYTES:
            return False
        before = path.read_bytes()
    except OSError:
        return False
    if before == content:
        return True
    same_kind = before[:_KIND_BYTES] == content[:_KIND_BYTES]
    return same_kind and any(mark in before and mark in content for mark in _OURS)


def write_new(path: Path, content: bytes) -> None:
    """Make a new file: under its name only once all of it is on the disk.

    Raises FileExistsError when there is one of that name, which stays as it is, and OSError when it cannot be
    written; then nothing of it stays.
    """
    unfinished = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        _write_through(unfinished, content)
        give_name(unfinished, path)
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


def give_name(unfinished: Path, path: Path) -> None:
    """Name a finished file. Raises FileExistsError where there is one of that name, which stays as it is."""
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
        raise BadInput(
            f"The folder {folder} cannot be made: {error.strerror}. Choose another folder."
        ) from error
