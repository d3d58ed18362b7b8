"""The box's walls: where every socket, switch and light goes, and how large its hole is.

Body A's sockets are on the left wall, body B's on the right one, so that no lead is pulled across. Hole sizes are those
usual for a part of the kind (common practice, no source): measure the part that was bought before drilling.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

from coincide_wiring.circuits.model import Netlist

# Inside of the enclosure, mm: width, depth, height.
INSIDE_MM = (160.0, 95.0, 55.0)
WALL_MM = {
    "front": (INSIDE_MM[0], INSIDE_MM[2]),
    "left": (INSIDE_MM[1], INSIDE_MM[2]),
    "right": (INSIDE_MM[1], INSIDE_MM[2]),
    "back": (INSIDE_MM[0], INSIDE_MM[2]),
}
EDGE_MM = 3.0  # wall left beside a nut
BETWEEN_MM = 4.0  # between nuts: a plug has to be got hold of
LIVE_MM = 10.0  # from a sync socket's nut to the next one: its outer may carry what a flash brings


@dataclass(frozen=True, slots=True)
class Opening:
    """A hole in a wall, seen from outside, from its lower left corner: `hole_mm` across, `nut_mm` what lies round
    it."""

    what: str
    says: str
    wall: str
    x_mm: float
    y_mm: float
    hole_mm: float
    nut_mm: float


def openings(netlist: Netlist) -> tuple[Opening, ...]:
    """Every opening of a build's box."""
    refs = {one.ref for one in netlist.parts}
    found = [
        Opening("S60", "handle: tip full, ring half", "front", 20.0, 20.0, 6.4, 9.0),
        Opening("S62", "interlock: down = may fire", "front", 48.0, 26.0, 6.4, 13.0),
        Opening("S64", "preset", "front", 80.0, 26.0, 12.2, 16.0),
        Opening("D70", "blue: within tolerance", "front", 106.0, 34.0, 5.1, 7.0),
        Opening("D71", "orange: out of tolerance", "front", 106.0, 16.0, 5.1, 7.0),
        Opening("S63", "wound", "front", 138.0, 24.0, 10.2, 15.0),
        Opening("USB", "USB cable, gland", "back", 30.0, 27.5, 12.5, 18.0),
        Opening("lamp row", "lamp row, 5 contacts", "back", 120.0, 27.5, 8.2, 12.0),
    ]
    for body, wall in (("A", "left"), ("B", "right")):
        found += [
            Opening(f"J11{body}", f"release {body}: tip full, ring half", wall, 14.0, 20.0, 6.4, 9.0),
            Opening(f"J21{body}", f"sync {body}", wall, 42.0, 34.0, 12.8, 17.0),
            Opening(f"gate {body.lower()}1", f"gate {body}1", wall, 64.0, 20.0, 8.2, 12.0),
            Opening(f"gate {body.lower()}2", f"gate {body}2", wall, 86.0, 20.0, 8.2, 12.0),
        ]
    return tuple(one for one in found if one.what in refs or not one.what[-1].isdigit() or " " in one.what)


def wall_faults(found: tuple[Opening, ...], netlist: Netlist) -> tuple[str, ...]:
    """Sockets without a hole, holes too near an edge or one another, bodies on one wall. Empty when all is well."""
    said = []
    wanted = {
        one.ref
        for one in netlist.parts
        if one.kind in ("jack_release", "jack_sync", "button", "button2", "switch2")
        or (one.kind == "led" and one.ref in ("D70", "D71"))
    }
    wanted |= {f"gate {one.ref[3:].lower()}" for one in netlist.of_kind("photodiode")}
    counted = [one.what for one in found]
    said += [f"{what} has {counted.count(what)} openings." for what in wanted if counted.count(what) != 1]
    for one in found:
        wide, high = WALL_MM[one.wall]
        rim = one.nut_mm / 2 + EDGE_MM
        if not (rim <= one.x_mm <= wide - rim and rim <= one.y_mm <= high - rim):
            said.append(f"{one.what} is too near the edge of the {one.wall} wall.")
    for one, other in combinations(found, 2):
        if one.wall != other.wall:
            continue
        gap_mm = math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm) - (one.nut_mm + other.nut_mm) / 2
        need_mm = LIVE_MM if {one.what[:3], other.what[:3]} & {"J21"} else BETWEEN_MM
        if gap_mm < need_mm:
            said.append(f"{one.what} and {other.what} are {gap_mm:.1f} mm apart; {need_mm:g} mm are wanted.")
    for letter, wall in (("A", "right"), ("B", "left")):
        said += [
            f"{one.what} belongs to body {letter} and is on the {wall} wall."
            for one in found
            if one.wall == wall and (one.what.endswith(letter) or f"gate {letter.lower()}" in one.what)
        ]
    return tuple(said)
