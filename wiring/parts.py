"""The parts list: what to buy, counted from the netlist, with substitutes and the reason for each value."""

from __future__ import annotations

from dataclasses import dataclass

from coincide_wiring.circuits.model import Part
from coincide_wiring.figures.freedom import tight
from coincide_wiring.netlist import Build, sheets

# Things the netlist holds that nobody buys, or already has.
NOT_BOUGHT = ("body", "metal", "laptop_port")

# What else will do, by kind of part.
SUBSTITUTES = {
    "resistor": "any film type of the same value; 5 % will do",
    "capacitor": "any type of the same or a higher voltage; keep C0G for picofarads",
    "photorelay": "a type operating at 3 mA or less; not a phototransistor, which is polarised",
    "optocoupler": "any type of the same or a higher transfer ratio grade; not a slow Darlington",
    "diode": "a higher voltage or current",
    "zener": "a transient suppressor of the same voltage",
    "limiter": "another depletion type of 500 V or more; then compute the source resistor again",
    "suppressor": "any bidirectional type that blocks 24 V and clamps below 55 V",
    "cutout": "any insulated type that opens between 75 and 85 °C; it must close again only when cool",
    "switch2": "a key switch or a link plug with two contacts that is pulled to stop",
    "photodiode": "another area: the load changes in inverse proportion",
    "comparator": "any single-supply type of 2 µs or quicker with an open-collector output",
    "opamp": "a quicker rail-to-rail type; then compute the feedback capacitor again",
    "trimmer": "a single-turn type, more fiddly to set",
    "npn": "a small n-channel MOSFET that is fully on at 2.5 V",
    "mosfet": "any 60 V type with 0.1 Ω or less at 8 V on the gate",
    "led": "another colour, if the two are told apart by everyone who uses the box",
    "led_array": "eight single LEDs in a straight row, evenly spaced",
    "resistor_array": "eight single resistors; 5 % will do",
    "shift_register": "any 8-bit type with an output latch that runs on 3.3 V",
    "cell": "any floating supply of the same voltage that nothing else shares",
    "supply": "a battery of the same voltage",
    "solenoid": "another 12 V type within 0.35 to 0.65 A; then compute again",
    "fuse": "a slow fuse of 1 A",
    "insulator": "any stiff insulating sheet of 2 mm or more; nothing anodised or painted",
    "board": "any board with one of the two chips and the pins of the table",
    "switch": "a link plug that is pulled to stop",
    "button": "any normally open contact",
    "button2": "two single buttons",
    "jack_release": "any 3-way connector that cannot touch the panel",
    "jack_sync": "any 2-way connector that cannot be reversed",
    "laptop": "a USB isolator in the lead is welcome",
    "loopback": "four crocodile leads, for a single check",
}


# The same for single parts whose kind allows more than they do.
FILM = "any film type of the same or a higher voltage; not ceramic, which loses capacitance under voltage"
ELECTROLYTIC = "any electrolytic type of 25 V or more"
STEADY = "any white LED of 1 W that is steady on direct current"
PARTICULAR = {
    "R45": "any type of 5 W or more, well away from the cable",
    **dict.fromkeys(("D45", "D46"), STEADY),
    **dict.fromkeys(("C21A", "C21B", "C52A", "C52B"), FILM),
    **dict.fromkeys(("S51A", "S51B"), "any switch of 12 V and 1 A that a hand finds without looking"),
    **dict.fromkeys(("C51A", "C51B"), ELECTROLYTIC),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the parts list: `quantity` of `sort`, where it goes, what else will do, and why."""

    quantity: int
    sort: str
    refs: tuple[str, ...]
    substitute: str
    why: tuple[str, ...]


def parts_list(build: Build) -> tuple[Line, ...]:
    """Parts to buy for a build, grouped by sort, in the order they first appear."""
    narrow = tight(build)
    grouped: dict[str, list[Part]] = {}
    for sheet in sheets(build):
        for one in sheet.parts:
            if one.kind not in NOT_BOUGHT:
                grouped.setdefault(one.sort, []).append(one)
    return tuple(
        Line(
            len(parts),
            sort,
            tuple(one.ref for one in parts),
            _substitute(parts[0], narrow.isdisjoint(one.ref for one in parts)),
            tuple(dict.fromkeys(one.why for one in parts)),
        )
        for sort, parts in grouped.items()
    )


def _substitute(one: Part, coarse: bool) -> str:
    """What else will do; `coarse` whether a tolerance of 5 % keeps every computed value within its limits."""
    if one.ref in PARTICULAR:
        return PARTICULAR[one.ref]
    if one.kind == "resistor" and not coarse:
        return "any film type of the same value and 1 %: its corners leave no room for 5 %"
    return SUBSTITUTES[one.kind]
