"""Small files that are there whole or not at all, and stay there when the power goes."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator, Mapping, Sequence
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
UNFINISHED = ".coincide-part"
UNFINISHED_MOST_S = 3600.0
LONGEST_NAME = 200  # of a name that is written aside; systems take 255 bytes in all
TAKEN = "{path} exists already and stays as it is: choose another name."
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


def check_new(path: Path, suffixes: Sequence[str], what: str) -> None:
    """Before any work: whether a new file can be written under this name. `what` it is, for a name of another kind.

    Raises BadInput in a sentence.
    """
    if path.suffix.lower() not in suffixes:
        raise BadInput(f"{path}: {what}: name it {path.with_suffix(suffixes[0]).name}.")
    if path.exists() or path.is_symlink():
        raise BadInput(TAKEN.format(path=path))
    if not path.parent.is_dir():
        raise BadInput(f"{path}: there is no folder {path.parent}; make it first.")
    if not os.access(path.parent, os.W_OK):
        raise BadInput(f"{path}: nothing may be written in {path.parent}.")


@contextlib.contextmanager
def new_file(path: Path) -> Iterator[Path]:
    """Make a new file too large to be held: written under the name given here, named `path` once it is whole and on
    the disk. Raises BadInput where there is one of that name, or it cannot be written; then nothing of it stays.
    """
    try:
        with _aside(path) as unfinished:
            yield unfinished
            with unfinished.open("rb+") as file:
                os.fsync(file.fileno())
            give_name(unfinished, path)
    except FileExistsError:
        raise BadInput(TAKEN.format(path=path)) from None
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror or error}.") from error


def write_new(path: Path, content: bytes) -> None:
    """Make a new file: under its name only once all of it is on the disk.

    Raises FileExistsError when there is one of that name, which stays as it is, and OSError when it cannot be
    written; then nothing of it stays.
    """
    with _aside(path) as unfinished:
        _write_through(unfinished, content)
        give_name(unfinished, path)


def replace_whole(path: Path, content: bytes) -> None:
    """The file with this content, in place of one of that name: the old content or the new, never part of either.

    Raises OSError when it cannot be written; then the old content stays.
    """
    with _aside(path) as unfinished:
        _write_through(unfinished, content)
        os.replace(unfinished, path)


@contextlib.contextmanager
def _aside(path: Path) -> Iterator[Path]:
    """A name beside `path` to write under; gone at the end, with what runs that were killed left under such names."""
    _clear_left_over(path.parent)
    unfinished = path.with_name(f".{path.name[:LONGEST_NAME]}.{os.getpid()}{UNFINISHED}")
    try:
        yield unfinished
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink()
    sync_folder(path.parent)


def _clear_left_over(folder: Path) -> None:
    """Away with what we began to write in a folder and never named: nothing takes so long to be written."""
    with contextlib.suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if not entry.name.endswith(UNFINISHED) or not entry.is_file(follow_symlinks=False):
                continue
            if time.time() - entry.stat(follow_symlinks=False).st_mtime > UNFINISHED_MOST_S:
                os.unlink(entry.path)


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
