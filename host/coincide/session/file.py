"""The session file: append-only JSON Lines, safe on disk shot by shot, read back however it ended."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType

from coincide.durable import sync_folder
from coincide.errors import BadInput
from coincide.session.columns import Columns
from coincide.session.lines import BEGINNING, header_from, header_line, remark_line, shot_line
from coincide.session.lock import lock_exclusively
from coincide.session.model import Header, Remark, Session, ShotRecord

BLOCK_BYTES = 2 << 20
LONGEST_LINE_BYTES = 16 << 20
LAST_TICK_MOST = 2**60  # beyond, what is added could not be read again
LARGEST_FILE_BYTES = 1 << 30  # ten times what ten million edges take


class SessionWriter:
    """Writes one session file; whatever `append` returned from is on the disk.

    `SessionWriter(path, header)` starts a new file and never touches one that exists;
    `SessionWriter.resume(path)` goes on with one. The file is locked while the writer is open. Every
    method raises BadInput in one sentence when the file cannot be written.

    path, header: as given or read. last_shot, last_tick: number of the last pair in the file and its
    latest edge, 0 if none.
    found: what `resume` has to say of what it found in the file, or None.
    """

    def __init__(self, path: str | os.PathLike[str], header: Header) -> None:
        self.path = Path(path)
        self.header = header
        self.last_shot = 0
        self.last_tick = 0
        self.found: str | None = None
        self._unfinished_line = False
        self._descriptor = _open(self.path, os.O_CREAT | os.O_EXCL)
        try:
            self._lock()
            self._write(header_line(header))
            sync_folder(self.path.parent)
        except BaseException:
            self.close()
            raise

    @classmethod
    def resume(cls, path: str | os.PathLike[str], header: Header | None = None) -> SessionWriter:
        """Go on with a file. A line that was cut short stays where it is; the next starts on a new line.

        With `header`, what a new file would begin with, a file that was begun for something else is refused, and
        one that was cut off inside its first line, with nothing in it, is begun anew.
        """
        writer = cls.__new__(cls)
        writer.path = Path(path)
        writer.found = None
        _refuse_unless_regular(writer.path)
        writer._descriptor = _open(writer.path, 0)
        try:
            writer._lock()
            anew = header is not None and _begun_at_most(writer._descriptor)
            if header is not None and anew:
                os.ftruncate(writer._descriptor, 0)
                writer._unfinished_line = False
                writer._write(header_line(header))
            session = read_session(writer.path)
            writer.header = session.header
            writer.last_shot = int(session.shot.max(initial=0))
            writer.last_tick = int(session.edges.tick.max(initial=0))
            if writer.last_tick > LAST_TICK_MOST:
                raise BadInput(
                    f"{path} says it has lasted for centuries: choose another file for these pairs."
                )
            writer._unfinished_line = not _ends_with_newline(writer._descriptor)
            if session.torn is not None:
                writer.found = (
                    f"Line {session.torn} of {writer.path.name} was cut short, as by a power cut; it stays "
                    "in the file and is not counted."
                )
                writer.remark(Remark(_now(), "resumed", writer.found, {"torn_line": session.torn}))
            if header is not None:
                said = [] if writer.found is None else [writer.found]
                if anew:
                    said.append(f"{writer.path.name} broke off before anything was in it: it is begun anew.")
                else:
                    said += writer._compared_with(header)
                writer.found = " ".join(said)
        except BaseException:
            writer.close()
            raise
        return writer

    def _compared_with(self, now: Header) -> list[str]:
        """What the file holds, and what is not as it was. Raises BadInput where pairs would not belong together."""
        was = self.header
        for what, before, after in (
            ("for the shutter times", " and ".join(was.exposures), " and ".join(now.exposures)),
            ("as a", was.purpose, now.purpose),
            ("with a box counting ticks per second:", was.tick_hz, now.tick_hz),
            ("with a box whose channels are", ", ".join(was.channels), ", ".join(now.channels)),
        ):
            if before != after:
                raise BadInput(
                    f"{self.path} was begun {what} {before}, not {after}: choose another file for these pairs."
                )
        said = [f"{self.path.name} holds {self.last_shot} pairs; the next is pair {self.last_shot + 1}."]
        if was.rig_toml != now.rig_toml:
            said.append("The rig file was changed since: the session keeps the rig it was begun with.")
        if was.box.get("board", {}).get("uid") != now.box.get("board", {}).get("uid"):
            said.append("It was begun with another box.")
        if len(said) > 1:
            self.remark(Remark(_now(), "resumed", " ".join(said[1:])))
        return said

    def append(self, record: ShotRecord) -> None:
        """Write a pair or a watched group. Once this returns the pair is on the disk."""
        self._write(shot_line(record))
        self.last_shot = max(self.last_shot, record.shot)
        self.last_tick = max((self.last_tick, *record.tick))

    def remark(self, remark: Remark) -> None:
        """Write a remark."""
        self._write(remark_line(remark))

    def close(self) -> None:
        """Close the file and give up the lock; a second call does nothing."""
        if self._descriptor >= 0:
            os.close(self._descriptor)
            self._descriptor = -1

    def __enter__(self) -> SessionWriter:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _lock(self) -> None:
        try:
            lock_exclusively(self._descriptor)
        except BlockingIOError:
            taken = True
        except PermissionError:  # what Windows says of a lock that another holds
            taken = True
        except OSError as error:
            raise BadInput(
                f"{self.path} cannot be locked ({error.strerror}): keep the session on a local disk."
            ) from error
        else:
            taken = False
        if taken:
            raise BadInput(f"Another run is writing {self.path}: wait for it to end or choose another file.")

    def _write(self, line: bytes) -> None:
        if self._descriptor < 0:
            raise ValueError(f"{self.path} is closed")
        left = b"\n" + line if self._unfinished_line else line
        # Until the whole line is down, whatever comes next has to begin on a new one.
        self._unfinished_line = True
        try:
            while left:
                left = left[os.write(self._descriptor, left) :]
            os.fsync(self._descriptor)
        except OSError as error:
            raise BadInput(
                f"{self.path} could not be written ({error.strerror}): make room or choose another disk; "
                "what was written before is kept."
            ) from error
        self._unfinished_line = False
        self._refuse_if_gone()

    def _refuse_if_gone(self) -> None:
        """Raise BadInput where what was just written is under no name any more, or not under this one."""
        here = os.fstat(self._descriptor)
        try:
            there = self.path.stat()
        except OSError:
            there = None
        if here.st_nlink < 1 or there is None or (there.st_dev, there.st_ino) != (here.st_dev, here.st_ino):
            raise BadInput(
                f"{self.path} was deleted, moved or replaced while pairs were written to it: nothing more is fired. "
                "Bring it back, or run the same command with another --out file: what the box still holds is kept "
                "there."
            )


def read_session(path: str | os.PathLike[str]) -> Session:
    """Read a session file, however its run ended. The file is only read.

    A last line that was cut short is skipped and numbered in `Session.torn`; a damaged line elsewhere is
    skipped with a Remark of kind 'damaged line'. Raises BadInput in one sentence when the file is missing,
    empty, not a session, or of a later version.
    """
    path = Path(path)
    _refuse_unless_regular(path)
    try:
        with path.open("rb") as file:
            blocks = _blocks_of_lines(file.fileno(), str(path))
            first = next(blocks, None)
            if first is None:
                raise BadInput(f"{path} is empty: no session was written to it.")
            lines, last = first
            columns = Columns(header_from(lines[0], str(path)))
            columns.take(lines[1:], 2, last=last)
            number = 1 + len(lines)
            for lines, last in blocks:
                columns.take(lines, number, last=last)
                number += len(lines)
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from error
    return columns.session()


def _blocks_of_lines(descriptor: int, name: str) -> Iterator[tuple[list[bytes], bool]]:
    """Whole lines in blocks, and whether the block's last line is the file's and lacks its newline."""
    rest = b""
    taken = 0
    while block := os.read(descriptor, BLOCK_BYTES):
        taken += len(block)
        if taken > LARGEST_FILE_BYTES:
            raise BadInput(
                f"{name} is larger than any session ({LARGEST_FILE_BYTES >> 20} MiB at most): it is none."
            )
        cut = block.rfind(b"\n")
        if cut < 0:
            rest += block
        else:
            yield (rest + block[:cut]).split(b"\n"), False
            rest = block[cut + 1 :]
        if len(rest) > LONGEST_LINE_BYTES:
            raise BadInput(
                f"{name} has a line longer than {LONGEST_LINE_BYTES >> 20} MiB: it is not a session file "
                "of coincide, or it is damaged."
            )
    if rest:
        yield [rest], True


def _refuse_unless_regular(path: Path) -> None:
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        raise BadInput(f"{path} does not exist: check the name of the session file.") from None
    except (OSError, ValueError) as error:
        raise BadInput(
            f"{path!s:.200} cannot be read: {getattr(error, 'strerror', None) or error}."
        ) from error
    if stat.S_ISDIR(mode):
        raise BadInput(f"{path} is a folder: name a session file in it.")
    if not stat.S_ISREG(mode):
        raise BadInput(f"{path} is not an ordinary file: name a session file.")


def _open(path: Path, how: int) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0) | how, 0o644)
    except FileExistsError:
        raise BadInput(
            f"{path} exists already and a session is never overwritten: choose another name."
        ) from None
    except FileNotFoundError:
        raise BadInput(f"{path} cannot be made: its folder {path.parent} does not exist.") from None
    except (OSError, ValueError) as error:
        raise BadInput(
            f"{path!s:.200} cannot be opened for writing: {getattr(error, 'strerror', None) or error}."
        ) from error


def _begun_at_most(descriptor: int) -> bool:
    """Whether a file holds nothing, or only the beginning of a session's first line."""
    os.lseek(descriptor, 0, os.SEEK_SET)
    start = os.read(descriptor, LONGEST_LINE_BYTES)
    return (
        b"\n" not in start
        and len(start) < LONGEST_LINE_BYTES
        and start[: len(BEGINNING)] == BEGINNING[: len(start)]
    )


def _ends_with_newline(descriptor: int) -> bool:
    os.lseek(descriptor, -1, os.SEEK_END)
    return os.read(descriptor, 1) == b"\n"


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
