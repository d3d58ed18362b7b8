"""The files of `coincide wiring layout`: a page for each board, one for the walls; nothing that the checker refuses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from coincide.durable import make_folder, write_outputs
from coincide_wiring.layout.check import copper, creepage_mm, faults
from coincide_wiring.layout.draw import as_pdf, walls_as_pdf
from coincide_wiring.layout.enclosure import openings, wall_faults
from coincide_wiring.layout.generate import beyond, board_names, board_sheet, layout_of
from coincide_wiring.layout.keep_apart import apart_mm
from coincide_wiring.layout.model import Layout
from coincide_wiring.netlist import Build, in_use


class WrongBoard(Exception):
    """A board and the netlist say different things."""


@dataclass(frozen=True, slots=True)
class Written:
    """A page that was written: `board` ("walls" for the enclosure), `path`, size in holes and in mm, bare wires,
    insulated wires, pads to drill away, and the shortest way over bare board between what must be apart (None:
    nothing must)."""

    board: str
    path: Path
    columns: int
    rows: int
    size_mm: tuple[float, float]
    bare_wires: int
    insulated_wires: int
    drilled: int
    apart_mm: float | None


def boards_to_draw(build: Build) -> tuple[str, ...]:
    """One board of each circuit: body B's are those of body A with B in every name, where both have the same
    circuit, and the second sensor's the first's."""
    found: dict[str, str] = {}
    for name in board_names(build):
        stem = (
            name.rsplit("_", 1)[0] if name.rsplit("_", 1)[-1] in ("a", "b", "a1", "a2", "b1", "b2") else name
        )
        found.setdefault(stem, name)
    return tuple(found.values())


def write(build: Build, folder: Path, board: str | None) -> tuple[Written, ...]:
    """Boards of a build, or one of them, and the walls, into a folder. Raises BadInput for an unknown board and
    where the folder cannot be written, WrongBoard where the checker finds something."""
    names = boards_to_draw(build) if board is None else (board,)
    made = [_page(build, name, folder) for name in names]
    pages = {one.path: text for one, text in made}
    written = [one for one, _ in made]
    if board is None:
        netlist = in_use(build)
        holes = openings(netlist)
        if said := wall_faults(holes, netlist):
            raise WrongBoard(f"walls: {' '.join(said)}")
        path = folder / "walls.pdf"
        pages[path] = walls_as_pdf(holes)
        written.append(Written("walls", path, 0, 0, (0.0, 0.0), 0, 0, 0, None))
    make_folder(folder)
    write_outputs(pages)
    return tuple(written)


def _page(build: Build, name: str, folder: Path) -> tuple[Written, bytes]:
    layout = layout_of(build, name)
    sheet = board_sheet(build, name)
    ways = creepage_mm(layout, copper(layout), sheet)
    said = (*faults(layout, sheet, beyond(build, name)), *_too_near(ways))
    if said:
        raise WrongBoard(f"{name}: {' '.join(said)}")
    return _written(layout, folder, ways), as_pdf(layout, sheet, ways)


def _too_near(ways: dict[tuple[int, int], float]) -> Iterator[str]:
    for (one, other), way_mm in ways.items():
        if way_mm < apart_mm(one, other):
            yield f"{way_mm:.1f} mm of bare board where {apart_mm(one, other):g} mm are wanted."


def _written(layout: Layout, folder: Path, ways: dict[tuple[int, int], float]) -> Written:
    return Written(
        layout.name,
        folder / f"board-{layout.name}.pdf",
        layout.columns,
        layout.rows,
        layout.size_mm,
        len(layout.runs),
        len(layout.links),
        len(layout.drilled),
        min(ways.values(), default=None),
    )
