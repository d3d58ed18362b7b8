"""The files that can be made of a pair of scans: pictures, B laid on A, the merged picture, its fringe map.

Names are checked before any work; what was measured is returned whatever becomes of a file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from coincide.durable import check_new, new_file
from coincide.errors import BadInput
from coincide.report.plots.fringes import draw_fringes
from coincide.scans.files.write import AS_TIFF, TIFF, Written, write_registered
from coincide.scans.pair import Compared
from coincide.scans.picture.fringes import Fringes, fringes
from coincide.scans.picture.merge import USUAL, Body, Border, Merged, check_assignment, merge

Advance = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which files are asked for, and how the merged picture is to be."""

    pictures: Path | None = None
    registered: Path | None = None
    merged: Path | None = None
    fringe_map: Path | None = None
    assignment: str = USUAL
    infrared: Body = "b"
    border: Border = "crop"

    def check(self) -> None:
        """Raises BadInput for a name that cannot be, before any work is done for it."""
        if self.registered is not None:
            check_new(self.registered, TIFF, AS_TIFF)
        if self.merged is not None:
            check_new(self.merged, TIFF, AS_TIFF)
            check_assignment(self.assignment)
        if self.fringe_map is not None:
            check_new(self.fringe_map, (".png",), "the fringe map is a PNG picture")
        if self.registered is not None and self.registered == self.merged:
            raise BadInput(f"--registered and --merged both name {self.merged}: give each a name of its own.")


@dataclass(frozen=True, slots=True)
class Made:
    """What was made: the paths in their order, and what is to be said of it. failed: what could not, and why."""

    paths: tuple[Path, ...]
    registered: Written | None
    merged: Merged | None
    fringes: Fringes | None
    failed: tuple[str, ...]


def make(wanted: Wanted, found: Compared, paths: tuple[Path, Path], advance: Advance) -> Made:
    """Write what is wanted of a compared pair. What fails is told in `failed`; the others are made all the same."""
    written: list[Path] = []
    failed: list[str] = []
    registered = merged = edges = None
    if wanted.pictures is not None:
        from coincide.report.plots.scans import NAMES, draw_pictures

        done = iter(range(1, len(NAMES) + 1))
        try:
            written += draw_pictures(
                found, wanted.pictures, lambda: advance("pictures", next(done) / len(NAMES))
            )
        except BadInput as error:
            failed.append(str(error))
    if wanted.registered is not None:
        try:
            registered = write_registered(
                found, paths[1], wanted.registered, new_file, lambda part: advance("B laid on A", part)
            )
            written.append(registered.path)
        except BadInput as error:
            failed.append(str(error))
    if wanted.merged is not None:
        try:
            merged = merge(
                found,
                paths,
                wanted.merged,
                new_file,
                wanted.assignment,
                wanted.infrared,
                wanted.border,
                lambda part: advance("the merged picture", part),
            )
            written.append(merged.written.path)
        except BadInput as error:
            failed.append(str(error))
    if wanted.fringe_map is not None:
        advance("the fringe map", 0.0)
        edges = fringes(found)
        try:
            written.append(draw_fringes(found, edges, wanted.fringe_map))
        except BadInput as error:
            failed.append(str(error))
        advance("the fringe map", 1.0)
    return Made(tuple(written), registered, merged, edges, tuple(failed))
