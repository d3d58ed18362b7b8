"""The parts list: what to buy, counted from the netlist, with substitutes and the reason for each value."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass

from coincide_wiring.circuits.leads import leads
from coincide_wiring.circuits.model import Part
from coincide_wiring.circuits.packages import package_of
from coincide_wiring.freedom import tight
from coincide_wiring.netlist import Build, in_use, sheets

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
    "E1": "any plastic box with that room; not metal, not even a metal front",
    "R45": "any type of 5 W or more, well away from the cable",
    **dict.fromkeys(("D45", "D46"), STEADY),
    **dict.fromkeys(("C21A", "C21B", "C52A", "C52B"), FILM),
    **dict.fromkeys(("S51A", "S51B"), "any switch of 12 V and 1 A that a hand finds without looking"),
    **dict.fromkeys(("C51A", "C51B"), ELECTROLYTIC),
}


# Stage of docs/build-the-box.md at which a circuit is built, by the beginning of the sheet's name.
STAGES = {
    "board": 1,
    "controls": 2,
    "release": 3,
    "lights": 4,
    "sync": 5,
    "loopback": 6,
    "gate": 7,
    "bodies": 8,
    "solenoid": 11,
    "lamp_row": 12,
    "lamp_cable": 12,
}


def stage_of(sheet: str) -> int:
    """The stage of the building page at which a sheet is built. Raises StopIteration for one it does not have."""
    return next(stage for name, stage in STAGES.items() if sheet.startswith(name))


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the parts list: `quantity` of `sort`, where it goes, what else will do, and why.

    `stages` at which it is needed; `package` its case, `pins` the case's terminals and the pins of the circuit they
    are, `first` how to find the first, `mind` what people get wrong with it ("" for nothing).
    """

    quantity: int
    sort: str
    refs: tuple[str, ...]
    substitute: str
    why: tuple[str, ...]
    stages: tuple[int, ...]
    package: str
    pins: str
    first: str
    mind: str


def parts_list(build: Build, stage: int | None = None) -> tuple[Line, ...]:
    """Parts to buy for a build, or for one stage of it, grouped by sort, in the order they first appear."""
    narrow = tight(build)
    grouped: dict[str, list[tuple[int, Part]]] = {}
    for sheet in sheets(build):
        here = stage_of(sheet.name)
        for one in sheet.parts:
            if one.kind not in NOT_BOUGHT and stage in (None, here):
                grouped.setdefault(one.sort, []).append((here, one))
    return tuple(_line(sort, found, narrow) for sort, found in grouped.items())


def _line(sort: str, found: list[tuple[int, Part]], narrow: frozenset[str]) -> Line:
    parts = [one for _, one in found]
    package = package_of(parts[0])
    return Line(
        len(parts),
        sort,
        tuple(one.ref for one in parts),
        _substitute(parts[0], narrow.isdisjoint(one.ref for one in parts)),
        tuple(dict.fromkeys(one.why for one in parts)),
        tuple(sorted({here for here, _ in found})),
        package.name,
        package.words(),
        package.first,
        package.mind,
    )


def _substitute(one: Part, coarse: bool) -> str:
    """What else will do; `coarse` whether a tolerance of 5 % keeps every computed value within its limits."""
    if one.ref in PARTICULAR:
        return PARTICULAR[one.ref]
    if one.kind == "resistor" and not coarse:
        return "any film type of the same value and 1 %: its corners leave no room for 5 %"
    return SUBSTITUTES[one.kind]


@dataclass(frozen=True, slots=True)
class Extra:
    """What no drawing shows: a lead with its plugs (`contacts` says which contact is which net), or a thing to build
    with."""

    stage: int
    quantity: int
    name: str
    contacts: str
    far: str
    mind: str


def extras(build: Build, stage: int | None = None) -> tuple[Extra, ...]:
    """Leads, plugs and what else to order for a build, or for one stage of it."""
    found = [
        Extra(
            stage_of(one.circuit),
            1,
            f"{one.name}, up to {one.longest_m:g} m: {one.plug}",
            ", ".join(f"{contact} {net}" for contact, net in one.contacts.items()),
            one.far,
            one.mind,
        )
        for one in leads(in_use(build))
    ]
    found += [Extra(at, count, name, "", "", mind) for at, count, name, mind in SUNDRIES]
    return tuple(sorted((one for one in found if stage in (None, one.stage)), key=lambda one: one.stage))


CSV_COLUMNS = (
    *("stages", "quantity", "part", "references", "package", "terminals", "first terminal", "equivalents"),
    *("mind", "why"),
)


def as_csv(build: Build, stage: int | None = None) -> str:
    """The list as a table to order from: a line a part, then leads and what else to order."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(CSV_COLUMNS)
    for line in parts_list(build, stage):
        at = " ".join(str(one) for one in line.stages)
        refs, why = " ".join(line.refs), "; ".join(line.why)
        table.writerow(
            (
                *(at, line.quantity, line.sort, refs, line.package, line.pins, line.first, line.substitute),
                *(line.mind, why),
            )
        )
    for one in extras(build, stage):
        table.writerow((one.stage, one.quantity, one.name, "", "", one.contacts, "", one.far, one.mind, ""))
    return text.getvalue()


SUNDRIES = (
    (
        1,
        1,
        "Power bank, 5 V, 1 A, 10 Ah, with a setting for small loads, and its cable",
        "Without that setting it switches off: the box waits on 20 to 107 mA. Not four alkaline cells: 6.4 V if fresh.",
    ),
    (
        1,
        1,
        "Resistor 43 Ω, 5 %, 2 W in a covered USB plug, with a Y lead: keeps a power bank awake",
        "Only for a bank without that setting. It gets hand-hot: not inside the box, nor in a bag.",
    ),
    (1, 2, "Socket strip, 20 contacts, 2.54 mm, for the microcontroller board", ""),
    (1, 8, "Spacer M3 x 10 mm and screws, nylon", "Metal screws through the wall are joints to the rig."),
    (1, 1, "Solder-in pin strip or stranded wire 0.14 mm², several colours, 10 m", ""),
    (1, 1, "Tinned copper wire 0.6 mm, 5 m, for the runs on the pad boards", ""),
    (
        1,
        1,
        "Pad board, 2.54 mm, one pad a hole, 100 x 80 mm, for the microcontroller's sockets, C1 and C2",
        "",
    ),
    (2, 1, "Pad board, 2.54 mm, one pad a hole, 80 x 50 mm, for the controls", ""),
    (
        3,
        2,
        "Pad board, 2.54 mm, one pad a hole, 100 x 80 mm, for release and sync",
        "Not striped: pads have to go.",
    ),
    (4, 1, "Pad board, 2.54 mm, one pad a hole, 50 x 40 mm, for the status lights", ""),
    (3, 4, "Socket DIP-4 (or half a DIP-8)", "Meter a photorelay before soldering, or use sockets."),
    (5, 2, "Socket DIP-4 (or half a DIP-8)", ""),
    (7, 4, "Pad board, 2.54 mm, one pad a hole, 60 x 50 mm, for the gate sensors", ""),
    (7, 4, "Panel socket, locking, 3 contacts (M8)", ""),
    (
        7,
        1,
        "Panel socket 5.5 x 2.1 mm, for the lamp's white box",
        "In the lamp's box, not in the coincide box.",
    ),
    (12, 1, "Panel socket, locking, 5 contacts (M8)", ""),
    (
        12,
        1,
        "Pad board, 2.54 mm, one pad a hole, 100 x 60 mm, for the lamp row",
        "The lamps sit along its edge.",
    ),
    (12, 1, "Pad board, 2.54 mm, one pad a hole, 50 x 40 mm, for the row's six resistors in the box", ""),
    (12, 8, "Socket DIP-16, for registers and networks", ""),
    (2, 1, "Panel jack 6.3 mm, 2 contacts, plastic, for the foot switch", ""),
    (1, 1, "Cable gland M12 for the USB cable, or a panel USB coupler in plastic", ""),
)
