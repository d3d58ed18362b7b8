"""The lamp row in a session: how it ran in each pair, and what was read off the frames, as remarks of the file.

What was fired and what was read lie days of developing apart. Each reading is a remark of its own; of two of the same
frame the later one counts.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import TypeVar

from pydantic import TypeAdapter, ValidationError

from coincide.errors import BadInput
from coincide.session.model import BODIES, Remark, Session

Kind = TypeVar("Kind")

ROW, FRAME = "lamp row", "lamp frame"


@dataclass(frozen=True, slots=True)
class RowRun:
    """The row as it ran for pair `shot`: lamps, ticks each was lit, tick at which lamp 1 was first lit (known to a
    fraction of a millisecond). off_line_m: how far its image may lie from the frame's centre, across the row."""

    shot: int
    lamps: int
    step_ticks: int
    start_tick: int
    off_line_m: float


@dataclass(frozen=True, slots=True)
class FrameRead:
    """What one frame shows: `shot`, body (0 = A), first and last lamp counted from 1, or None for both where nothing
    could be read. doubtful: lamps that may be miscounted at either end."""

    shot: int
    body: int
    first: int | None
    last: int | None
    doubtful: float = 0.0


def row_remark(run: RowRun, tick_hz: int) -> Remark:
    """The remark that keeps how the row ran."""
    step_ms = 1e3 * run.step_ticks / tick_hz
    return Remark(
        _now(), ROW, f"Pair {run.shot}: row of {run.lamps} lamps, {step_ms:g} ms each.", asdict(run)
    )


def frame_remark(read: FrameRead) -> Remark:
    """The remark that keeps a reading."""
    shows = "nothing that could be read" if read.first is None else f"lamps {read.first} to {read.last}"
    return Remark(
        _now(), FRAME, f"Pair {read.shot}, body {BODIES[read.body]}: the frame shows {shows}.", asdict(read)
    )


def rows_of(session: Session) -> dict[int, RowRun]:
    """How the row ran, by pair; only pairs that are in the session."""
    fired = set(session.shot.tolist())
    runs = (_read(RowRun, remark) for remark in session.remarks if remark.kind == ROW)
    return {run.shot: run for run in runs if run.shot in fired}


def frames_of(session: Session) -> dict[tuple[int, int], FrameRead]:
    """What was read, by pair and body; the latest reading of each frame."""
    reads = (_read(FrameRead, remark) for remark in session.remarks if remark.kind == FRAME)
    return {(read.shot, read.body): read for read in reads}


def read_alike_twice(session: Session) -> frozenset[tuple[int, int]]:
    """Pair and body of each frame whose last two readings show the same lamps."""
    last: dict[tuple[int, int], tuple[int | None, int | None]] = {}
    alike: set[tuple[int, int]] = set()
    for remark in session.remarks:
        if remark.kind == FRAME:
            read = _read(FrameRead, remark)
            frame, lamps = (read.shot, read.body), (read.first, read.last)
            (alike.add if last.get(frame) == lamps else alike.discard)(frame)
            last[frame] = lamps
    return frozenset(alike)


def _read(kind: type[Kind], remark: Remark) -> Kind:
    try:
        return TypeAdapter(kind).validate_python(remark.detail)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        key = ".".join(str(part) for part in first["loc"])
        raise BadInput(
            f"A remark '{remark.kind}' of the session has {key} = {first['input']!r:.60}: {first['msg']}."
        ) from None


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
