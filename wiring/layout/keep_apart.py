"""Which nets of a board must keep their distance, and how far: the two sides of an isolator, and high voltage.

Distances: 5 mm across an isolator, as the building page says. Between conductors that 400 V may lie between, 4.0 mm:
IEC 60664-1, creepage for 400 V, pollution degree 2, material group III (memory).
"""

from __future__ import annotations

from coincide_wiring.circuits.model import Sheet

ISOLATION_MM = 5.0
LIVE_MM = 4.0
ISOLATORS = ("photorelay", "optocoupler")


def sides(sheet: Sheet) -> dict[str, int]:
    """Net -> 0 on the side of the isolators' LEDs, 1 on that of their outputs; all 0 where there is no isolator."""
    isolators = [one for one in sheet.parts if one.kind in ISOLATORS]
    if not isolators:
        return dict.fromkeys(sheet.nets(), 0)
    found: dict[str, int] = {}
    for one in isolators:
        for side, pins in enumerate(one.sides()):
            found |= {one.pins[pin]: side for pin in pins}
    others = [one for one in sheet.parts if one.kind not in ISOLATORS]
    for _ in others:
        for one in others:
            known = [found[net] for net in one.pins.values() if net in found]
            if known:
                found |= dict.fromkeys(one.pins.values(), known[0])
    return found


def groups(sheet: Sheet) -> dict[str, int]:
    """Net -> group; between groups of one side there may be 400 V. One group where no high voltage comes in.

    A positive terminal lifts its centre off all else; a negative one pulls centre, LED and limiter down from cell
    and outer.
    """
    side = sides(sheet)
    found = {net: 10 * here for net, here in side.items()}
    for limiter in (one for one in sheet.parts if one.kind == "limiter"):
        (socket,) = [one for one in sheet.parts if one.kind == "jack_sync"]
        (coupler,) = [one for one in sheet.parts if one.kind == "optocoupler"]
        below = (limiter.pins["source"], limiter.pins["gate"], coupler.pins["cathode"])
        found |= dict.fromkeys(below, 1) | {socket.pins["centre"]: 2}
    return found


def apart_mm(one: int, other: int) -> float:
    """The distance two groups must keep."""
    if one == other:
        return 0.0
    return ISOLATION_MM if one // 10 != other // 10 else LIVE_MM
