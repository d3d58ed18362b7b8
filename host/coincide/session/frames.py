"""The box's frame log on the host: one row a frame shot in the field, as a CSV file that spreadsheets read."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np

from coincide.durable import write_new
from coincide.errors import BadInput
from coincide.inputs import refuse_unless_ordinary
from coincide.session.model import Floats

LONGEST_FILE_BYTES = 16 << 20
QUOTE = "'"  # before what a spreadsheet would take for a formula; taken off again when it is read
_NOT_AS_TEXT = ("=", "+", "-", "@", "\t", "\r", "\n", QUOTE)
VERDICT_WORDS = {
    "within": "within tolerance",
    "out": "out of tolerance",
    "no_answer_a": "body A did not answer",
    "no_answer_b": "body B did not answer",
    "no_answer_both": "neither body answered",
    "not_measured": "not measured",
    "black_a": "body A fired and no light was seen",
    "black_b": "body B fired and no light was seen",
    "black_both": "both bodies fired and no light was seen",
    "damaged": "the entry is damaged",
}


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame. frame: its number on the roll, or None before the log was joined to a roll.

    entry: place in the log, from 0. boot: which start of the box. since_boot_s: when. preset: name of the
    offset that was on. verdict: a key of VERDICT_WORDS. Times in seconds, NaN where the box had none:
    skew_s positive when B was late, lag of each body from its full-press, delay added to each body.
    """

    frame: int | None
    entry: int
    boot: int
    since_boot_s: float
    preset: str
    verdict: str
    skew_s: float
    lag_a_s: float
    lag_b_s: float
    delay_a_s: float
    delay_b_s: float
    tolerance_s: float


_NAMES = tuple(field.name for field in fields(Frame))


def joined_to_roll(frames: Sequence[Frame], first_entry: int, first_frame: int = 1) -> tuple[Frame, ...]:
    """The frames from log entry `first_entry` on, numbered as on the roll from `first_frame`.

    Raises BadInput when the log has no such entry.
    """
    from dataclasses import replace

    entries = [frame.entry for frame in frames]
    if first_entry not in entries:
        held = f"{min(entries)} to {max(entries)}" if entries else "none"
        raise BadInput(f"The frame log has no entry {first_entry}: it holds {held}.")
    roll = frames[entries.index(first_entry) :]
    return tuple(replace(frame, frame=first_frame + place) for place, frame in enumerate(roll))


def rests_s(frames: Sequence[Frame]) -> Floats:
    """The quiet before each frame, (n,), seconds: since the frame before it, infinite for the first of a start of
    the box. Frames in the log's order."""
    boot = np.array([frame.boot for frame in frames])
    when = np.array([frame.since_boot_s for frame in frames])
    rest = np.full(len(frames), np.inf)
    rest[1:] = np.where(boot[1:] == boot[:-1], np.diff(when), np.inf)
    return rest


def write_frames(path: Path, frames: Iterable[Frame]) -> Path:
    """Write a new CSV file; an existing one is never overwritten. Raises BadInput where it cannot."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(_NAMES)
    for frame in frames:
        writer.writerow([_cell(getattr(frame, name)) for name in _NAMES])
    try:
        # On the disk for certain: the box may be told to forget these frames next.
        write_new(path, text.getvalue().encode())
    except FileExistsError:
        raise BadInput(f"{path} exists already and stays as it is: choose another name.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror}.") from error
    return path


def read_frames(path: Path) -> tuple[Frame, ...]:
    """Read such a file. Raises BadInput naming the line and the column of what is wrong."""
    refuse_unless_ordinary(path, "a frame log")
    try:
        if path.stat().st_size > LONGEST_FILE_BYTES:
            raise BadInput(f"{path} is larger than any frame log: it is not one.")
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = list(csv.reader(file))
    except FileNotFoundError:
        raise BadInput(f"{path} does not exist: 'coincide framelog --csv {path}' writes one.") from None
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{path} cannot be read as a frame log: {error}.") from None
    if not rows or tuple(rows[0]) != _NAMES:
        raise BadInput(f"{path} is not a frame log: its first line must be {','.join(_NAMES)}.")
    return tuple(_frame(row, number, path) for number, row in enumerate(rows[1:], 2) if row)


def _cell(value: float | int | str | None) -> str:
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, str):
        return QUOTE + value if value.startswith(_NOT_AS_TEXT) else value
    return f"{value:.9f}" if isinstance(value, float) else str(value)


def _frame(row: list[str], number: int, path: Path) -> Frame:
    if len(row) != len(_NAMES):
        raise BadInput(f"{path}, line {number}: {len(row)} columns; {len(_NAMES)} were expected.")
    frame, entry, boot, since_boot_s, preset, verdict, *seconds = row
    if verdict not in VERDICT_WORDS:
        raise BadInput(
            f"{path}, line {number}: verdict is '{verdict:.40}'; one of {', '.join(VERDICT_WORDS)} was expected."
        )
    try:
        return Frame(
            int(frame) if frame else None,
            int(entry),
            int(boot),
            float(since_boot_s or "nan"),
            preset.removeprefix(QUOTE),
            verdict,
            *[float(one or "nan") for one in seconds],
        )
    except ValueError as error:
        raise BadInput(f"{path}, line {number}: {error!s:.200}.") from None
