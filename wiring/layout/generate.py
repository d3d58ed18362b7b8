"""A board from a sheet of the netlist: the smallest of a few sizes on which every net finds its way.

The dice are seeded by the sheet's name: the same netlist gives the same board on every machine.
"""

from __future__ import annotations

import math
import random

from coincide.errors import BadInput
from coincide_wiring.circuits.model import Sheet
from coincide_wiring.layout import lamp_row
from coincide_wiring.layout.drilling import drilled
from coincide_wiring.layout.footprints import footprints
from coincide_wiring.layout.keep_apart import groups
from coincide_wiring.layout.model import Hole, Layout, Placed
from coincide_wiring.layout.place import BARRIER, Placing, on_board, place, wires_out
from coincide_wiring.layout.route import Routed, route
from coincide_wiring.netlist import Build, sheets

# Circuits that are built on boards of their own; what else there is sits in walls, on leads or on the bench.
BOARDS = ("release", "sync", "gate", "controls", "lights", "solenoid", "lamp")
TRIES = 20
ORDERS = 4  # of the nets, for each placing
# Holes of board for a hole under a part, and how many holes bodies keep from one another.
ROOM = ((2.4, 0.2), (3.2, 0.7), (4.2, 1.2))


def board_names(build: Build) -> tuple[str, ...]:
    """The circuits of a build that have a board, as their drawings are named."""
    return tuple(one.name for one in board_sheets(build))


def board_sheets(build: Build) -> tuple[Sheet, ...]:
    """The circuits that have a board; the lamp row has two, at either end of its cable."""
    found: list[Sheet] = []
    for one in sheets(build):
        if one.name == lamp_row.ROW:
            found += lamp_row.boards_of(one)
        elif one.name != "gate_lamp" and one.name.split("_")[0] in BOARDS:
            found.append(one)
    return tuple(found)


def board_sheet(build: Build, name: str) -> Sheet:
    """The circuit of one board. Raises BadInput where the build has none of that name."""
    for one in board_sheets(build):
        if one.name == name:
            return one
    raise BadInput(f"There is no board '{name}' in this build; there are {', '.join(board_names(build))}.")


def layout_of(build: Build, name: str) -> Layout:
    """The board of one circuit. Raises BadInput where the build has none of that name."""
    return generate(board_sheet(build, name), beyond(build, name))


def beyond(build: Build, name: str) -> frozenset[str]:
    """Nets that other circuits of the box have too: on the board of this one they need a wire."""
    here = {one.name: one for one in board_sheets(build)}
    others = [
        *(one for other, one in here.items() if other != name),
        *(one for one in sheets(build) if one.name not in (*here, "loopback", "bodies")),
    ]
    return frozenset(net for other in others for net in other.nets())


def generate(sheet: Sheet, elsewhere: frozenset[str]) -> Layout:
    """The board of a sheet; `elsewhere` are nets that go on elsewhere. Raises RuntimeError where no try has room."""
    group = groups(sheet)
    if sheet.name == lamp_row.ROW:
        drawn_up = lamp_row.placed(sheet)
        return _finished(drawn_up, route(drawn_up, group, random.Random(sheet.name), ORDERS), group)
    best: tuple[int, int, Placing, Routed] | None = None
    for room, gap in ROOM:
        for attempt in range(TRIES):
            dice = random.Random(f"{sheet.name} {room} {attempt}")
            board = place(sheet, elsewhere, _size(sheet, elsewhere, room), gap, dice)
            if board is None:
                continue
            found = route(board, group, dice, ORDERS)
            cost = (len(found.links), sum(len(run) for run in found.runs))
            if best is None or cost < best[:2]:
                best = (*cost, board, found)
            if not found.links:
                break
        if best is not None and best[0] == 0:
            break
    if best is None:
        raise RuntimeError(f"{sheet.name} finds no room on any board")
    return _finished(best[2], best[3], group)


def _size(sheet: Sheet, elsewhere: frozenset[str], room: float) -> tuple[int, int]:
    holes = 0.0
    for one in on_board(sheet):
        shape = footprints(one)[0]
        wide = max(column for column, _ in shape.pads.values()) + 2 * shape.beyond[0] + 1
        high = max(row for _, row in shape.pads.values()) + 2 * shape.beyond[1] + 1
        holes += wide * high
    apart = 1.5 if len(set(groups(sheet).values())) > 2 else 1.0
    rows = max(9, round(math.sqrt(holes * room * apart * 0.7)), _edge_rows(sheet, elsewhere))
    return max(12, round(holes * room * apart / rows)) + 2, rows


def _finished(board: Placing, found: Routed, group: dict[str, int]) -> Layout:
    barrier = range(0) if board.barrier is None else range(board.barrier + 1, board.barrier + BARRIER)
    left, top, right, bottom = _used(board, found)

    def moved(hole: Hole) -> Hole:
        return hole[0] - left, hole[1] - top

    taken = {moved(hole): net for hole, net in found.taken.items()}
    columns, rows = right - left + 1, bottom - top + 1
    return Layout(
        board.sheet.name,
        board.sheet.title,
        columns,
        rows,
        tuple(_moved(one, left, top) for one in board.placed),
        tuple(tuple(moved(hole) for hole in run) for run in found.runs),
        tuple((moved(one), moved(other)) for one, other in found.links),
        drilled(columns, rows, taken, group, range(barrier.start - left, barrier.stop - left)),
        group,
    )


def _used(board: Placing, found: Routed) -> tuple[int, int, int, int]:
    """The columns and rows that are needed: left, top, right, bottom."""
    columns = {column for column, _ in found.taken}
    rows = {row for _, row in found.taken}
    bodies = [one.body for one in board.placed]
    return (
        min(*columns, *(math.ceil(body[0]) for body in bodies)),
        min(*rows, *(math.ceil(body[1]) for body in bodies)),
        max(*columns, *(math.floor(body[2]) for body in bodies)),
        max(*rows, *(math.floor(body[3]) for body in bodies)),
    )


def _moved(one: Placed, left: int, top: int) -> Placed:
    pads = {pad: (column - left, row - top) for pad, (column, row) in one.pads.items()}
    x0, y0, x1, y1 = one.body
    return Placed(one.ref, pads, (x0 - left, y0 - top, x1 - left, y1 - top), one.off_board)


def _edge_rows(sheet: Sheet, elsewhere: frozenset[str]) -> int:
    """Rows that the wires along the fuller edge want."""
    wires = wires_out(sheet, elsewhere).values()
    return max(sum(len(one) + 1 for one in wires if ("wire" in one) == plain) for plain in (True, False)) + 1
