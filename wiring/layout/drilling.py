"""Pads to drill away: an idle pad is copper, and shortens the way over the board between what must be apart."""

from __future__ import annotations

import heapq
import math

from coincide_wiring.layout.keep_apart import ISOLATION_MM, apart_mm
from coincide_wiring.layout.model import PAD_MM, PITCH_MM, Hole

REACH = math.ceil((ISOLATION_MM + PAD_MM) / PITCH_MM)


def drilled(
    columns: int, rows: int, taken: dict[Hole, str], group: dict[str, int], barrier: range
) -> frozenset[Hole]:
    """The columns of the barrier, and idle holes on a way between two groups that is shorter than they must be
    apart, idle pads being no distance."""
    here = {hole: group[net] for hole, net in taken.items() if net}
    kinds = sorted(set(here.values()))
    idle = {(column, row) for column in range(columns) for row in range(rows)} - set(here)
    gone = {hole for hole in idle if hole[0] in barrier}
    while True:
        far = {
            kind: _ways_mm([hole for hole, one in here.items() if one == kind], idle - gone) for kind in kinds
        }
        bad = {
            hole
            for hole in idle - gone
            for at, one in enumerate(kinds)
            for other in kinds[at + 1 :]
            if far[one].get(hole, math.inf) + far[other].get(hole, math.inf) < apart_mm(one, other)
        }
        if not bad:
            return frozenset(gone)
        gone |= bad


def _ways_mm(start: list[Hole], idle: set[Hole]) -> dict[Hole, float]:
    """The shortest way over bare board from some copper to each idle pad within reach."""
    found: dict[Hole, float] = {}
    heap = [(0.0, hole) for hole in start]
    steps = [
        (across, down, math.hypot(across, down) * PITCH_MM - PAD_MM)
        for across in range(-REACH, REACH + 1)
        for down in range(-REACH, REACH + 1)
        if (across, down) != (0, 0)
    ]
    done: set[Hole] = set()
    while heap:
        way_mm, hole = heapq.heappop(heap)
        if hole in done:
            continue
        done.add(hole)
        if hole in idle:
            found[hole] = way_mm
        for across, down, gap_mm in steps:
            there = (hole[0] + across, hole[1] + down)
            if there in idle and there not in done and way_mm + gap_mm < ISOLATION_MM:
                heapq.heappush(heap, (way_mm + gap_mm, there))
    return found
