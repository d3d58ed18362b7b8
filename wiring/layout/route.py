"""Bare wires from hole to hole on the copper side: shortest ways round what is there (Lee's algorithm, net by net).

A hole carries one net. Where no way is left the two ends get an insulated wire.
"""

from __future__ import annotations

import random
from collections import deque
from dataclasses import dataclass

from coincide_wiring.layout.model import Hole
from coincide_wiring.layout.place import BARRIER, QUIET, Placing, clear_of, distant

Run = tuple[Hole, ...]


@dataclass(frozen=True, slots=True)
class Routed:
    """Runs and insulated links that join every net's pads; `taken`: hole -> net, with the holes that the runs pass."""

    runs: tuple[Run, ...]
    links: tuple[tuple[Hole, Hole], ...]
    taken: dict[Hole, str]


def route(board: Placing, group: dict[str, int], dice: random.Random, tries: int) -> Routed:
    """The best of some orders of the nets: the short ones first, then that order shaken."""
    group = distant(group)
    # The short ones first, and before them those that have to be short.
    nets = {net: _spread(pads) - 1000 * net.startswith(QUIET) for net, pads in board.nets.items()}
    best: Routed | None = None
    for attempt in range(tries):
        shaken = {net: far + (dice.gauss(0.0, 5.0) if attempt else 0.0) for net, far in nets.items()}
        found = _routed(board, group, sorted(nets, key=shaken.__getitem__))
        if best is None or len(found.links) < len(best.links):
            best = found
        if not best.links:
            break
    assert best is not None
    return best


def _routed(board: Placing, group: dict[str, int], order: list[str]) -> Routed:
    runs: list[Run] = []
    links: list[tuple[Hole, Hole]] = []
    taken = dict(board.taken)
    for net in order:
        pads = list(dict.fromkeys(board.nets[net]))
        tree, left = {pads[0]}, set(pads[1:])
        while left:
            way = _way(board, taken, group, net, tree, left)
            if way is None:
                start, end = min(
                    ((one, other) for one in tree for other in left), key=lambda ends: _far(*ends)
                )
                links.append((start, end))
                tree.add(end)
                left.discard(end)
                continue
            for hole in way:
                taken.setdefault(hole, net)
            runs.append(way)
            tree |= set(way)
            left -= set(way)
    return Routed(tuple(run for run in runs if len(run) > 1), tuple(links), taken)


def _far(one: Hole, other: Hole) -> int:
    return abs(one[0] - other[0]) + abs(one[1] - other[1])


def _spread(pads: list[Hole]) -> int:
    columns = [column for column, _ in pads]
    rows = [row for _, row in pads]
    return (max(columns) - min(columns)) + (max(rows) - min(rows))


def _way(
    board: Placing,
    taken: dict[Hole, str],
    group: dict[str, int],
    net: str,
    tree: set[Hole],
    goals: set[Hole],
) -> Run | None:
    """The shortest free way from what is joined already to any pad that is not."""
    came: dict[Hole, Hole | None] = dict.fromkeys(sorted(tree))
    frontier = deque(came)
    while frontier:
        here = frontier.popleft()
        if here in goals:
            way = [here]
            while (before := came[way[-1]]) is not None:
                way.append(before)
            return tuple(way)
        for across, down in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            there = (here[0] + across, here[1] + down)
            if there not in came and _free(board, taken, group, net, there):
                came[there] = here
                frontier.append(there)
    return None


def _free(board: Placing, taken: dict[Hole, str], group: dict[str, int], net: str, hole: Hole) -> bool:
    column, row = hole
    if not (0 <= column < board.columns and 0 <= row < board.rows):
        return False
    if board.barrier is not None and board.barrier < column < board.barrier + BARRIER:
        return False
    if hole in taken:
        return taken[hole] == net
    return clear_of(hole, net, taken, group)
