"""A board judged by its copper alone: flood fill finds what is joined, a shortest way over the board what is apart.

Shares nothing with what places and routes: it draws pads and wires as filled shapes on a fine grid, lets scipy find the
connected pieces, and compares with the netlist.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from skimage.graph import MCP_Geometric

from coincide_wiring.circuits.model import Netlist, Sheet
from coincide_wiring.circuits.packages import OPEN, package_of
from coincide_wiring.layout.model import PAD_MM, PITCH_MM, WIRE_MM, Hole, Layout, hole_name

FINE = 20  # points a pitch: 0.127 mm
SLANTED = math.cos(math.pi / 8)  # the shortest a way of eight directions can be in truth
COPPER = 1e-6  # what a way costs on copper: floating pads are no distance


@dataclass(frozen=True, slots=True)
class Copper:
    """The copper side as a picture: `pieces` numbers the connected pieces, 0 is bare board; `joined` maps a piece to
    the one it is joined to by insulated wires."""

    pieces: npt.NDArray[np.int32]
    joined: dict[int, int]

    def piece_at(self, hole: Hole) -> int:
        """The piece under a hole; 0 where its pad is gone."""
        row, column = _point(hole)
        number = int(self.pieces[row, column])
        return self.joined.get(number, number)


def _point(hole: Hole) -> tuple[int, int]:
    return (hole[1] * FINE + FINE // 2, hole[0] * FINE + FINE // 2)


def copper(layout: Layout) -> Copper:
    """The board's copper: a pad at every hole that is not drilled, a bar for every stretch of wire."""
    picture = np.zeros((layout.rows * FINE, layout.columns * FINE), dtype=bool)
    reach = math.ceil(PAD_MM / PITCH_MM * FINE / 2)
    down, across = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = down**2 + across**2 <= (PAD_MM / PITCH_MM * FINE / 2) ** 2
    for column in range(layout.columns):
        for row in range(layout.rows):
            if (column, row) not in layout.drilled:
                y, x = _point((column, row))
                picture[y - reach : y + reach + 1, x - reach : x + reach + 1] |= disc
    half = round(WIRE_MM / PITCH_MM * FINE / 2)
    for run in layout.runs:
        for one, other in pairwise(run):
            (y0, x0), (y1, x1) = sorted((_point(one), _point(other)))
            picture[
                min(y0, y1) - half : max(y0, y1) + half + 1, min(x0, x1) - half : max(x0, x1) + half + 1
            ] = True
    pieces = np.asarray(ndimage.label(picture)[0], dtype=np.int32)
    return Copper(pieces, _joined(pieces, layout.links))


def _joined(pieces: npt.NDArray[np.int32], links: tuple[tuple[Hole, Hole], ...]) -> dict[int, int]:
    names: dict[int, int] = {}

    def name(hole: Hole) -> int:
        number = int(pieces[_point(hole)])
        return names.get(number, number)

    for one, other in links:
        keep, gone = name(one), name(other)
        for number, called in list(names.items()):
            if called == gone:
                names[number] = keep
        names[gone] = keep
    return names


def faults(layout: Layout, sheet: Sheet, beyond: frozenset[str]) -> tuple[str, ...]:
    """What is wrong with a board: joints that are missing or too many, parts that are, holes used twice, bodies that
    meet, nets that go on elsewhere and have no wire. Empty when it is the sheet's circuit and no other."""
    board = copper(layout)
    return (
        *_holes(layout),
        *_bodies(layout),
        *_joints(layout, sheet, board),
        *_wires(layout, sheet, beyond),
    )


def _holes(layout: Layout) -> list[str]:
    found, used = [], dict[Hole, str]()
    for one in layout.placed:
        for pad, hole in one.pads.items():
            if hole in layout.drilled:
                found.append(f"{one.ref} {pad} sits in {hole_name(hole)}, whose pad is drilled away.")
            if not (0 <= hole[0] < layout.columns and 0 <= hole[1] < layout.rows):
                found.append(f"{one.ref} {pad} sits beyond the board.")
            if hole in used:
                found.append(f"{one.ref} {pad} and {used[hole]} share {hole_name(hole)}.")
            used[hole] = f"{one.ref} {pad}"
    return found


def _bodies(layout: Layout) -> list[str]:
    found = []
    for at, one in enumerate(layout.placed):
        for other in layout.placed[at + 1 :]:
            left, top = max(one.body[0], other.body[0]), max(one.body[1], other.body[1])
            right, bottom = min(one.body[2], other.body[2]), min(one.body[3], other.body[3])
            if right - left > 0 and bottom - top > 0:
                found.append(f"{one.ref} and {other.ref} lie on one another.")
    return found


def _joints(layout: Layout, sheet: Sheet, board: Copper) -> list[str]:
    """Pads by the piece of copper they sit on, against pads by net."""
    by_ref = {one.ref: one for one in sheet.parts}
    found: list[str] = []
    pieces: dict[int, set[tuple[str, str]]] = {}
    nets: dict[str, set[tuple[str, str]]] = {}
    for one in layout.placed:
        for pad, hole in one.pads.items():
            if one.ref in by_ref:
                pin = package_of(by_ref[one.ref]).pads[pad]
                net = by_ref[one.ref].pins[pin] if pin != OPEN else f"open {one.ref} {pad}"
            else:
                net = one.ref  # a wire that is called by its net
            nets.setdefault(net, set()).add((one.ref, pad))
            pieces.setdefault(board.piece_at(hole), set()).add((one.ref, pad))
    for net, wanted in nets.items():
        ref, pad = min(wanted)
        piece = next(pads for pads in pieces.values() if (ref, pad) in pads)
        if piece != wanted:
            missing = sorted(" ".join(one) for one in wanted - piece)
            strange = sorted(" ".join(one) for one in piece - wanted)
            found.append(
                f"{net}: {'not joined: ' + ', '.join(missing) if missing else ''}"
                f"{' joined too: ' + ', '.join(strange) if strange else ''}"
            )
    return found


def _wires(layout: Layout, sheet: Sheet, beyond: frozenset[str]) -> list[str]:
    """Every part of the sheet that is soldered is there once, and every net that goes on has a wire."""
    from coincide_wiring.layout.footprints import NOT_ON_A_BOARD, OFF_BOARD

    found = []
    counted = [one.ref for one in layout.placed]
    for one in sheet.parts:
        expected = 0 if one.kind in NOT_ON_A_BOARD else 1
        if counted.count(one.ref) != expected and one.kind not in OFF_BOARD:
            found.append(f"{one.ref} is on the board {counted.count(one.ref)} times.")
        if expected and one.kind not in OFF_BOARD and one.ref in counted:
            placed = [other for other in layout.placed if other.ref == one.ref]
            if any(set(other.pads) != set(package_of(one).pads) for other in placed):
                found.append(f"{one.ref} has not the terminals of its case.")
    soldered = {
        net
        for one in sheet.parts
        if one.kind not in (*OFF_BOARD, *NOT_ON_A_BOARD)
        for net in one.pins.values()
    }
    out = {one.ref for one in layout.placed if one.off_board}
    by_ref = {one.ref: one for one in sheet.parts}
    out |= {net for ref in out if ref in by_ref for net in by_ref[ref].pins.values()}
    elsewhere = {net for net in soldered if net in beyond}
    off_board = {
        net for one in sheet.parts if one.kind in OFF_BOARD for net in one.pins.values() if net in soldered
    }
    found += [f"{net} goes on elsewhere and has no wire." for net in sorted((elsewhere | off_board) - out)]
    return found


def creepage_mm(layout: Layout, board: Copper, netlist: Netlist | Sheet) -> dict[tuple[int, int], float]:
    """The shortest way over bare board between each two groups of nets that must be apart; a way over an idle pad is
    free. scikit-image's minimum-cost path over the grid; its steps go eight ways, so a slanting way comes out up to 8 %
    longer than it is, and that much is taken off."""
    by_ref = {one.ref: one for one in netlist.parts}
    pads: dict[int, list[tuple[int, int]]] = {}
    for one in layout.placed:
        for pad, hole in one.pads.items():
            pin = package_of(by_ref[one.ref]).pads[pad] if one.ref in by_ref else ""
            net = by_ref[one.ref].pins[pin] if pin else (one.ref if one.ref in layout.groups else "")
            if net:
                pads.setdefault(layout.groups[net], []).append(_point(hole))
    costs = np.where(board.pieces > 0, COPPER, 1.0)
    found: dict[tuple[int, int], float] = {}
    for group in sorted(pads):
        way, _ = MCP_Geometric(costs).find_costs(pads[group])
        for other in sorted(pads):
            if other > group:
                shortest = min(way[point] for point in pads[other])
                found[group, other] = float(shortest) * PITCH_MM / FINE * SLANTED
    return found
