"""Where the parts go: one after another, each at the free place nearest to what it is joined to."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from coincide_wiring.circuits.model import Part, Sheet
from coincide_wiring.circuits.packages import OPEN, package_of
from coincide_wiring.layout.footprints import NOT_ON_A_BOARD, OFF_BOARD, Footprint, footprints
from coincide_wiring.layout.keep_apart import ISOLATORS, apart_mm, groups, sides
from coincide_wiring.layout.model import PAD_MM, PITCH_MM, Hole, Placed

# Nets on which a hand's breadth of wire is an aerial: a photodiode amplifier's input. They are kept short.
QUIET = "SUM_"
QUIET_WEIGHT = 6
BARRIER = 3  # an isolator's rows are three holes apart; the pads between are drilled away


@dataclass(slots=True)
class Placing:
    """A board that is being filled: what sits where, and which net has which pads."""

    sheet: Sheet
    columns: int
    rows: int
    barrier: int | None
    gap: float  # between bodies, in holes
    placed: list[Placed] = field(default_factory=list)
    nets: dict[str, list[Hole]] = field(default_factory=dict)
    taken: dict[Hole, str] = field(default_factory=dict)  # hole -> net; '' for a terminal that stays open
    # net -> column -> row: how far the net's nearest pad is, in holes
    far: dict[str, list[list[int]]] = field(default_factory=dict)


def wires_out(sheet: Sheet, beyond: frozenset[str]) -> dict[str, dict[str, str]]:
    """Pads for wires that leave the board: 'to' -> {terminal: net}. `beyond`: nets that go on on other sheets."""
    found: dict[str, dict[str, str]] = {}
    for one in sheet.parts:
        if one.kind in OFF_BOARD:
            pads = package_of(one).pads.items()
            found[one.ref] = {pad: one.pins[pin] for pad, pin in pads if pin in one.pins and pin != "frame"}
    served = {net for pads in found.values() for net in pads.values()}
    here = {net for one in on_board(sheet) for net in one.pins.values()}
    # What comes from the microcontroller's board or another sheet, and no wire above brings already.
    found |= {net: {"wire": net} for net in sorted(here & beyond - (served - {"GND", "3V3"}))}
    return {to: pads for to, pads in found.items() if set(pads.values()) & here}


def on_board(sheet: Sheet) -> list[Part]:
    """The parts that are soldered to the board."""
    return [one for one in sheet.parts if one.kind not in (*OFF_BOARD, *NOT_ON_A_BOARD)]


def nets_of_pads(part: Part) -> dict[str, str]:
    """Terminal -> net; '' for one that stays open."""
    return {pad: part.pins[pin] if pin != OPEN else "" for pad, pin in package_of(part).pads.items()}


def place(
    sheet: Sheet, beyond: frozenset[str], size: tuple[int, int], gap: float, dice: random.Random
) -> Placing | None:
    """A board of `size` (columns, rows) with every part on it, bodies `gap` holes apart, or None where there is no
    room."""
    side, group = sides(sheet), distant(groups(sheet))
    parts = on_board(sheet)
    isolators = [one for one in parts if one.kind in ISOLATORS]
    barrier = None
    if isolators:
        share = sum(1 for one in parts if side[next(iter(one.pins.values()))] == 0) / len(parts)
        barrier = round((size[0] - BARRIER - 1) * min(0.7, max(0.3, share)))
    board = Placing(sheet, *size, barrier, gap)
    edge = [
        (to, pads, side[next(iter(pads.values()))] if isolators else int("wire" not in pads))
        for to, pads in wires_out(sheet, beyond).items()
    ]
    if not _isolators(board, isolators, group, dice) or not _edges(board, edge, group, dice):
        return None
    others = [one for one in parts if one.kind not in ISOLATORS]
    # The large ones first, then whatever hangs on what is there already.
    others.sort(key=lambda one: (-len(one.pins), dice.random()))
    while others:
        others.sort(key=lambda one: -_joined(board, one) - 3.0 * (len(one.pins) > 2))
        one = others.pop(0)
        if not _nearest(board, one, side, group, dice):
            return None
    return board


def distant(group: dict[str, int]) -> dict[str, int]:
    """The groups, or none where there is only one and nothing to keep apart."""
    return group if len(set(group.values())) > 1 else {}


def _joined(board: Placing, part: Part) -> float:
    nets = set(part.pins.values())
    quiet = any(net in board.nets and net.startswith(QUIET) for net in nets)
    return 10.0 * quiet + sum(net in board.nets for net in nets) / len(nets)


def _isolators(board: Placing, isolators: list[Part], group: dict[str, int], dice: random.Random) -> bool:
    if not isolators:
        return True
    assert board.barrier is not None
    step = board.rows // len(isolators)
    dice.shuffle(isolators)
    for at, one in enumerate(isolators):
        shape = footprints(one)[0]
        where = (board.barrier, at * step + max(0, (step - 2) // 2))
        if not _fits(board, one, shape, where, group):
            return False
        put_part(board, one, shape, where)
    return True


def _edges(
    board: Placing, wires: list[tuple[str, dict[str, str], int]], group: dict[str, int], dice: random.Random
) -> bool:
    """Wires of the LED side along the left edge, those of the other side along the right one; without isolators what
    goes to the rest of the box left, what goes to walls and leads right."""
    dice.shuffle(wires)
    next_row = {0: 0, 1: 0}
    room = {here: sum(len(pads) + 1 for _, pads, where in wires if where == here) for here in (0, 1)}
    for here, need in room.items():
        next_row[here] = max(0, (board.rows - need) // 2)
    for to, pads, here in wires:
        column = 0 if here == 0 else board.columns - 1
        holes: dict[str, Hole] = {}
        order = list(pads.items())
        dice.shuffle(order)  # wires bend
        for pad, net in order:
            row = next_row[here]
            while row < board.rows and not _clear(board, (column, row), net, group):
                row += 1
            if row >= board.rows:
                return False
            holes[pad] = (column, row)
            _take(board, (column, row), net)
            next_row[here] = row + 1
        next_row[here] += 1
        rows = [row for _, row in holes.values()]
        body = (column - 0.4, min(rows) - 0.4, column + 0.4, max(rows) + 0.4)
        board.placed.append(Placed(to, holes, body, off_board=True))
    return True


def _nearest(
    board: Placing, part: Part, side: dict[str, int], group: dict[str, int], dice: random.Random
) -> bool:
    best: tuple[float, Footprint, Hole] | None = None
    nets = nets_of_pads(part)
    here = side[next(iter(part.pins.values()))]
    for shape in footprints(part):
        known = [
            (board.far[nets[pad]], *at, QUIET_WEIGHT if nets[pad].startswith(QUIET) else 1)
            for pad, at in shape.pads.items()
            if nets[pad] in board.far
        ]
        for where in _places(board, here, shape):
            cost = dice.random() * 1.5
            for far, across, down, weight in known:
                cost += weight * far[where[0] + across][where[1] + down]
            cost += 0.05 * math.dist(where, (board.columns / 2, board.rows / 2))
            if (best is None or cost < best[0]) and _fits(board, part, shape, where, group):
                best = (cost, shape, where)
    if best is None:
        return False
    put_part(board, part, best[1], best[2])
    return True


def _places(board: Placing, here: int, shape: Footprint) -> Iterator[Hole]:
    wide = max(across for across, _ in shape.pads.values())
    high = max(down for _, down in shape.pads.values())
    first, last = 1, board.columns - 2
    if board.barrier is not None:
        first, last = (1, board.barrier - 1) if here == 0 else (board.barrier + BARRIER + 1, last)
    for column in range(first, last - wide + 1):
        for row in range(board.rows - high):
            yield column, row


def body_of(shape: Footprint, where: Hole) -> tuple[float, float, float, float]:
    """What lies on the board: left, top, right, bottom, in holes."""
    columns = [where[0] + across for across, _ in shape.pads.values()]
    rows = [where[1] + down for _, down in shape.pads.values()]
    wide, high = shape.beyond
    edge = 0.3
    return (
        min(columns) - max(wide, edge),
        min(rows) - max(high, edge),
        max(columns) + max(wide, edge),
        max(rows) + max(high, edge),
    )


def _fits(board: Placing, part: Part, shape: Footprint, where: Hole, group: dict[str, int]) -> bool:
    body = body_of(shape, where)
    if body[1] < -0.9 or body[3] > board.rows - 0.1:
        return False
    for other in board.placed:
        if not (
            body[2] + board.gap < other.body[0]
            or other.body[2] + board.gap < body[0]
            or body[3] + board.gap < other.body[1]
            or other.body[3] + board.gap < body[1]
        ):
            return False
    return all(
        _clear(board, (where[0] + shape.pads[pad][0], where[1] + shape.pads[pad][1]), net, group)
        for pad, net in nets_of_pads(part).items()
    )


def _clear(board: Placing, hole: Hole, net: str, group: dict[str, int]) -> bool:
    return hole not in board.taken and clear_of(hole, net, board.taken, group)


def clear_of(hole: Hole, net: str, taken: dict[Hole, str], group: dict[str, int]) -> bool:
    """Whether a hole keeps its distance from all that other groups have taken; `group` empty: there is only one."""
    if not (net and group):
        return True
    mine = group[net]
    for other, theirs in taken.items():
        if theirs and group[theirs] != mine:
            gap_mm = math.dist(hole, other) * PITCH_MM - PAD_MM
            if gap_mm < apart_mm(mine, group[theirs]):
                return False
    return True


def _take(board: Placing, hole: Hole, net: str) -> None:
    board.taken[hole] = net
    if net:
        board.nets.setdefault(net, []).append(hole)
        before = board.far.get(net)
        board.far[net] = [
            [
                min(abs(hole[0] - column) + abs(hole[1] - row), before[column][row] if before else 10**6)
                for row in range(board.rows)
            ]
            for column in range(board.columns)
        ]


def put_wire(board: Placing, net: str, hole: Hole) -> None:
    """A pad for a wire that leaves the board and is called by its net."""
    _take(board, hole, net)
    x, y = hole
    board.placed.append(Placed(net, {"wire": hole}, (x - 0.4, y - 0.4, x + 0.4, y + 0.4), off_board=True))


def put_part(board: Placing, part: Part, shape: Footprint, where: Hole) -> None:
    """A part at a place that is known to be free."""
    holes = {pad: (where[0] + across, where[1] + down) for pad, (across, down) in shape.pads.items()}
    nets = nets_of_pads(part)
    for pad, hole in holes.items():
        _take(board, hole, nets[pad])
    board.placed.append(Placed(part.ref, holes, body_of(shape, where), off_board=False))
