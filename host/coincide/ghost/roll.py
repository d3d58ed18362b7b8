"""A whole roll: one row a pair, and how much of the ghosting an offset would have taken away."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from coincide.errors import BadInput, CoincideError
from coincide.inputs import refuse_unless_ordinary
from coincide.scans.pair import Compared, compare
from coincide.session.frames import Frame

COLUMNS = ("a", "b", "frame")
MOST_ROWS = 2000
LONGEST_NUMBER = 9
LARGEST_TABLE_BYTES = 4 << 20


@dataclass(frozen=True, slots=True)
class RollLine:
    """A line of the table: the scans of one pair and its number on the roll (None where not given)."""

    line: int
    a: Path
    b: Path
    frame: int | None


@dataclass(frozen=True, slots=True)
class RollRow:
    """One pair. skew_s: as the box measured it, NaN where it did not. refused: why it could not be told, or None.

    ghost_px: the largest displacement of a moving region; regions: how many. per_ms_px: ghost_px for every
    millisecond of skew.
    still_px: what stood still agrees to this, rms.
    """

    line: int
    frame: int | None
    name_a: str
    name_b: str
    skew_s: float
    regions: int
    ghost_px: float
    ghost_u_px: float
    ghost_um: float
    still_px: float
    mirrored: bool
    per_ms_px: float
    refused: str | None


@dataclass(frozen=True, slots=True)
class RollSummary:
    """offset_change_s: the change of offset (positive holds body A back more) that would have left the least
    ghosting in the pairs that moved and have a skew; removed: the part of their summed ghosting it would have
    taken away,
    if timing made all of it. 0 where nothing would have helped; NaN where nothing can be said."""

    pairs: int
    refused: int
    with_ghost: int
    used: int
    offset_change_s: float
    removed: float


def read_roll(path: Path) -> tuple[RollLine, ...]:
    """Read `a,b,frame` lines of a CSV table; scan names count from the table's own folder."""
    refuse_unless_ordinary(path, "a table of scans")
    try:
        if path.stat().st_size > LARGEST_TABLE_BYTES:
            raise BadInput(f"{path} is too large for a table of scans.")
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = list(csv.reader(file))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{path} cannot be read as a table of scans: {error}.") from None
    heads = [cell.strip().lower() for cell in rows[0]] if rows else []
    if heads[:2] != list(COLUMNS[:2]) or len(heads) > 3 or heads[2:] not in ([], ["frame"]):
        raise BadInput(f"{path}: its first line must be {','.join(COLUMNS)} (frame may be left out).")
    lines = [_line(path, number, row) for number, row in enumerate(rows[1:], 2) if any(row)]
    if not lines:
        raise BadInput(f"{path}: lists no pairs.")
    if len(lines) > MOST_ROWS:
        raise BadInput(f"{path}: lists {len(lines)} pairs; {MOST_ROWS} are the most.")
    return tuple(lines)


def _line(path: Path, number: int, row: Sequence[str]) -> RollLine:
    cells = [cell.strip() for cell in row]
    if any("\0" in cell for cell in cells):
        raise BadInput(
            f"{path}, line {number}: holds a character that no name has: save the table as plain CSV."
        )
    if len(cells) < 2 or not cells[0] or not cells[1]:
        raise BadInput(f"{path}, line {number}: names of two scans were expected.")
    frame = None
    if len(cells) > 2 and cells[2]:
        if not cells[2].isdecimal() or len(cells[2]) > LONGEST_NUMBER:
            raise BadInput(
                f"{path}, line {number}: frame is '{cells[2]:.20}'; a number on the roll was expected."
            )
        frame = int(cells[2])
    return RollLine(number, path.parent / cells[0], path.parent / cells[1], frame)


def compare_roll(
    lines: Sequence[RollLine],
    frames: Sequence[Frame] = (),
    dpi: float | None = None,
    advance: Callable[[], None] = lambda: None,
    each: Callable[[RollLine, Compared], None] = lambda _line, _found: None,
) -> tuple[tuple[RollRow, ...], RollSummary]:
    """Compare every pair; `each` is called with those that were told, and may refuse by BadInput.

    A pair that cannot be read or told is a row with the reason, not the end.
    """
    skew_of = {frame.frame: frame.skew_s for frame in frames if frame.frame is not None}
    rows = []
    for line in lines:
        skew_s = skew_of.get(line.frame, math.nan) if line.frame is not None else math.nan
        try:
            found = compare(line.a, line.b, dpi)
            each(line, found)
            rows.append(_row(line, skew_s, found))
        except CoincideError as refused:
            rows.append(_refused(line, skew_s, str(refused)))
        advance()
    return tuple(rows), summarise(rows)


def _row(line: RollLine, skew_s: float, found: Compared) -> RollRow:
    regions = found.motion.regions
    ghost = regions[0].length_px if regions else 0.0
    pitch = found.a.pitch_um
    return RollRow(
        line=line.line,
        frame=line.frame,
        name_a=line.a.name,
        name_b=line.b.name,
        skew_s=skew_s,
        regions=len(regions),
        ghost_px=ghost,
        ghost_u_px=math.hypot(*regions[0].u_px) if regions else math.nan,
        ghost_um=ghost * pitch if pitch is not None else math.nan,
        still_px=found.registration.static_rms_px,
        mirrored=found.registration.at_centre.mirrored,
        per_ms_px=ghost / abs(skew_s * 1e3) if regions and skew_s else math.nan,
        refused=None,
    )


def _refused(line: RollLine, skew_s: float, why: str) -> RollRow:
    nan = math.nan
    return RollRow(
        line.line, line.frame, line.a.name, line.b.name, skew_s, 0, nan, nan, nan, nan, False, nan, why
    )


def summarise(rows: Sequence[RollRow]) -> RollSummary:
    """The single change of offset that would have left the least ghosting.

    A pair's ghost is its skew times how fast its subject's picture moved, so an offset o leaves
    ghost |S - o| / |S|. The sum over pairs is least at the weighted median of S, weights ghost / |S|.
    """
    ghosts = [row for row in rows if row.refused is None and row.regions]
    usable = [row for row in ghosts if math.isfinite(row.skew_s) and row.skew_s != 0]
    change = removed = math.nan
    if usable:
        skews = np.array([row.skew_s for row in usable])
        sizes = np.array([row.ghost_px for row in usable])
        order = np.argsort(skews)
        weight = (sizes / np.abs(skews))[order]
        change = float(skews[order][np.searchsorted(weight.cumsum(), weight.sum() / 2)])
        left = float((sizes * np.abs(skews - change) / np.abs(skews)).sum())
        removed = max(0.0, 1.0 - left / float(sizes.sum()))
    return RollSummary(
        pairs=len(rows),
        refused=sum(row.refused is not None for row in rows),
        with_ghost=len(ghosts),
        used=len(usable),
        offset_change_s=change,
        removed=removed,
    )
