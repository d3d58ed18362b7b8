"""A roll's pairs compared and, where a folder is named, merged one by one, with a contact sheet of them all."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from coincide.durable import make_folder
from coincide.ghost.roll import RollLine, RollRow, RollSummary, compare_roll
from coincide.report.plots.contact_sheet import draw_contact_sheet
from coincide.report.scan_files import Wanted, make
from coincide.scans.pair import Compared
from coincide.session.frames import Frame

SHEET = "contact-sheet.png"


def compare_and_merge(
    lines: Sequence[RollLine],
    frames: Sequence[Frame],
    dpi: float | None,
    wanted: Wanted,
    advance: Callable[[], None],
) -> tuple[tuple[RollRow, ...], RollSummary, list[Path]]:
    """`wanted.merged` names the folder, or None for no pictures. Raises BadInput where it cannot be made."""
    merged: dict[int, Path] = {}
    if wanted.merged is not None:
        make_folder(wanted.merged)

    def each(line: RollLine, found: Compared) -> None:
        assert wanted.merged is not None
        out = wanted.merged / _name(line)
        one = replace(wanted, merged=out)
        one.check()
        made = make(one, found, (line.a, line.b), lambda _what, _part: None)
        if made.merged is not None:
            merged[line.line] = out

    rows, summary = compare_roll(lines, frames, dpi, advance, *(() if wanted.merged is None else (each,)))
    written = list(merged.values())
    if wanted.merged is not None and merged:
        shown = [(merged.get(row.line), _below(row)) for row in rows]
        written.append(draw_contact_sheet(shown, wanted.merged / SHEET))
    return rows, summary, written


def _name(line: RollLine) -> str:
    number = f"line-{line.line:04d}" if line.frame is None else f"frame-{line.frame:04d}"
    return f"{number}-merged.tif"


def _below(row: RollRow) -> tuple[str, str]:
    frame = row.name_a if row.frame is None else f"frame {row.frame}"
    skew = f", skew {row.skew_s * 1e3:+.2f} ms" if math.isfinite(row.skew_s) else ""
    if row.refused is not None:
        return f"{frame}{skew}", row.refused
    if not row.regions:
        return f"{frame}{skew}", "nothing is seen to have moved"
    film = f", {row.ghost_um:.0f} um on film" if math.isfinite(row.ghost_um) else ""
    return f"{frame}{skew}", f"moved by up to {row.ghost_px:.1f} px{film}"
