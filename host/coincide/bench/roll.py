"""Reading the box's log of the frames shot in the field, and joining it to the numbers on the roll."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.bench.person import Person, Read
from coincide.box.framelog import FrameLog, read_framelog
from coincide.session.frames import joined_to_roll, write_frames

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.session.frames import Frame


@dataclass(frozen=True, slots=True)
class LogRead:
    """The log as the box holds it, its frames with their numbers on the roll, the file they were written to, and
    whether the box has forgotten them."""

    log: FrameLog
    frames: tuple[Frame, ...]
    csv: Path | None
    cleared: bool
    simulated: bool


def read_roll(
    client: BoxClient, person: Person, csv: Path | None, first: tuple[int, int] | None, *, clear: bool
) -> LogRead:
    """The whole log. `first`: log entry of a frame and that frame's number on the roll. `csv`: written to a new file;
    only then may the box `clear` its log."""
    log = read_framelog(client, lambda done, of: person.progress(Read(done, of)))
    frames = log.frames if first is None else joined_to_roll(log.frames, *first)
    if csv is not None:
        write_frames(csv, frames)
    if clear:
        client.framelog_clear(len(log.frames))
    return LogRead(log, tuple(frames), csv, clear, client.identity.simulated)
