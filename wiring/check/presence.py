"""Rules a direct-current solution cannot see: supply pins, connectors, and the parts that only matter when
something changes quickly or goes wrong (capacitors, hysteresis, guarding diodes).
"""

from __future__ import annotations

import re
from collections.abc import Mapping

from coincide_wiring.check.fault import Fault
from coincide_wiring.circuits.box import LAMP_CABLE
from coincide_wiring.circuits.model import NOT_CONNECTED, Netlist, Part
from coincide_wiring.circuits.specs import TERMINAL

GND, RAIL = "GND", "3V3"
RELEASE_MAX_V = TERMINAL["release_max_v"]
BIG_F = 1e-6
CONTROLS = ("button_half", "button_full", "interlock", "wound", "preset")

# Pins whose net follows from what they are. {tag} is what follows the number in a reference: "A" or "A1".
FIXED: Mapping[str, Mapping[str, str]] = {
    "laptop": {"vbus": "VBUS", "gnd": GND, "shield": "USB_EARTH"},
    "board": {"vbus": "VBUS", "v3v3": RAIL, "gnd": GND, "shield": "USB_EARTH"},
    "comparator": {"vcc": RAIL, "gnd": GND, "minus": "LIGHT_{tag}", "plus": "THR_{tag}"},
    "opamp": {"vcc": RAIL, "gnd": GND, "plus": GND, "minus": "SUM_{tag}", "out": "LIGHT_{tag}"},
    "trimmer": {"one": "TOP_{tag}", "wiper": "WIPER_{tag}", "other": GND},
    "shift_register": {
        "vcc": RAIL,
        "gnd": GND,
        "enable": GND,
        "clear": RAIL,
        "clock": "ROW_CLOCK",
        "latch": "ROW_LATCH",
    },
    "jack_release": {"half": "{tag}_HALF", "full": "{tag}_FULL", "common": "{tag}_COM"},
    "jack_sync": {"centre": "{tag}_SYNC_C", "outer": "{tag}_SYNC_O"},
    "photorelay": {"cathode": "LED_RETURN"},
    "switch2": {"one": "SW_INTERLOCK", "other": GND, "return1": "LED_RETURN", "return2": GND},
    "npn": {"emitter": GND},
    "limiter": {"drain": "{tag}_WET", "source": "{tag}_LIMIT_S", "gate": "{tag}_SYNC_A"},
    "button2": {"half": "SW_HALF", "full": "SW_FULL", "common": GND},
    "body": {
        "half": "{tag}_HALF",
        "full": "{tag}_FULL",
        "common": "{tag}_COM",
        "centre": "{tag}_SYNC_C",
        "outer": "{tag}_SYNC_O",
        "shell": "{tag}_SHELL",
    },
}


def presence_faults(netlist: Netlist) -> list[Fault]:
    """Everything of this kind that is missing or on the wrong net."""
    return [
        *_fixed(netlist),
        *_chain(netlist),
        *_connectors(netlist),
        *_capacitors(netlist),
        *_guards(netlist),
    ]


def tag_of(one: Part) -> str:
    """What follows the number in a reference: 'A' of J11A, 'A1' of U41A1, 'A' of BODY_A, '' of U1."""
    if one.kind == "body":
        return one.ref.removeprefix("BODY_")
    return re.sub(r"^[A-Z]+\d+", "", one.ref)


def _fixed(netlist: Netlist) -> list[Fault]:
    found = []
    for one in netlist.parts:
        for pin, template in FIXED.get(one.kind, {}).items():
            wanted, net = template.format(tag=tag_of(one)), one.pins.get(pin, "nothing")
            if net != wanted and not (one.kind == "body" and net.startswith(NOT_CONNECTED)):
                found.append(
                    Fault("wrong net", f"{one.ref} {pin}", f"{one.ref} {pin} is on {net}, not on {wanted}.")
                )
    return found


def _chain(netlist: Netlist) -> list[Fault]:
    """Shift registers hand the data on one after another, each to eight lamps of its own."""
    wanted, found = "ROW_DATA", []
    for ref, signal, net in LAMP_CABLE:
        if not any(one.ref == ref for one in _across(netlist, "resistor", signal, net)):
            say = f"{ref} between {signal} and {net} is missing: the row's cable would ring."
            found.append(Fault("wrong net", ref, say))
    for one in netlist.of_kind("shift_register"):
        if one.pins["data"] != wanted:
            say = f"{one.ref} takes its data from {one.pins['data']}, not from {wanted}."
            found.append(Fault("wrong net", f"{one.ref} data", say))
        wanted = one.pins["next"]
        fed = [array for array in netlist.of_kind("resistor_array") if array.pins["one"] == one.pins["q"]]
        if len(fed) != 1:
            found.append(
                Fault("wrong net", f"{one.ref} q", f"{one.ref} feeds {len(fed)} resistor networks, not one.")
            )
    return found


def _connectors(netlist: Netlist) -> list[Fault]:
    """Each body has its two sockets, each switched coil its coil."""
    found = []
    for kind, what in (("jack_release", "release"), ("jack_sync", "sync")):
        tags = {tag_of(one) for one in netlist.of_kind(kind)}
        found += [
            Fault("connector", body, f"the {what} socket of body {body} is missing.")
            for body in "AB"
            if body not in tags
        ]
    coils = {one.pins["coil2"] for one in netlist.of_kind("solenoid")}
    for one in netlist.of_kind("mosfet"):
        if one.pins["drain"] not in coils:
            found.append(Fault("connector", one.ref, f"{one.ref} switches no coil."))
    return found


def _across(netlist: Netlist, kind: str, one: str, other: str) -> list[Part]:
    return [part for part in netlist.of_kind(kind) if set(part.pins.values()) == {one, other}]


def _capacitors(netlist: Netlist) -> list[Fault]:
    """Decoupling for each supply pin, a reservoir on the rail, a capacitor on each input a lead goes to."""
    found = []
    rail = _across(netlist, "capacitor", RAIL, GND)
    small = [one for one in rail if one.value("capacitance_f") < BIG_F]
    fed = [one for one in netlist.parts if "vcc" in one.pins or one.kind == "board"]
    if len(small) < len(fed):
        say = f"{len(fed)} circuits hang on {RAIL} and only {len(small)} have a decoupling capacitor."
        found.append(Fault("decoupling", RAIL, say))
    if len(small) == len(rail):
        found.append(Fault("decoupling", RAIL, f"{RAIL} has no reservoir of 1 µF or more."))
    for net in CONTROLS:
        if not _across(netlist, "capacitor", net, GND):
            found.append(
                Fault("decoupling", net, f"{net} has no capacitor: a static discharge goes straight in.")
            )
    for trimmer in netlist.of_kind("trimmer"):
        if not _across(netlist, "capacitor", trimmer.pins["wiper"], GND):
            found.append(
                Fault("decoupling", trimmer.ref, f"the threshold of {trimmer.ref} has no capacitor.")
            )
    for coil in netlist.of_kind("solenoid"):
        feeds = {coil.pins["coil1"]}
        for one in netlist.of_kind("cutout"):
            feeds |= set(one.pins.values()) if feeds & set(one.pins.values()) else set()
        if not any(feeds & set(one.pins.values()) for one in netlist.of_kind("capacitor")):
            found.append(Fault("decoupling", coil.ref, f"the supply of {coil.ref} has no reservoir."))
    return found


def _guards(netlist: Netlist) -> list[Fault]:
    """Hysteresis, feedback, and the diodes that guard an LED or a gate."""
    found = []
    for one in netlist.of_kind("comparator"):
        if not _kicked(netlist, one.pins["out"], one.pins["plus"]):
            found.append(
                Fault("hysteresis", one.ref, f"{one.ref} has no hysteresis: one crossing gives many edges.")
            )
    for one in netlist.of_kind("opamp"):
        for kind in ("resistor", "capacitor"):
            if not _across(netlist, kind, one.pins["out"], one.pins["minus"]):
                found.append(Fault("feedback", one.ref, f"{one.ref} has no feedback {kind}."))
    diodes = netlist.of_kind("diode")
    for one in netlist.of_kind("optocoupler"):
        guard = (one.pins["cathode"], one.pins["anode"])
        if not any((diode.pins["anode"], diode.pins["cathode"]) == guard for diode in diodes):
            found.append(
                Fault("guard", one.ref, f"the LED of {one.ref} has no diode against reverse voltage.")
            )
    for one in netlist.of_kind("photorelay"):
        found += _suppressed(netlist, one)
    for one in netlist.of_kind("mosfet"):
        clamps = [(zener.pins["anode"], zener.pins["cathode"]) for zener in netlist.of_kind("zener")]
        if (one.pins["source"], one.pins["gate"]) not in clamps:
            found.append(Fault("guard", one.ref, f"the gate of {one.ref} has no Zener diode."))
        if not _kicked(netlist, one.pins["gate"], one.pins["source"]):
            say = f"nothing empties the capacitor at the gate of {one.ref}: it would pull once and no more."
            found.append(Fault("guard", one.ref, say))
    return found


def _kicked(netlist: Netlist, out: str, plus: str) -> bool:
    """Whether a resistor and a capacitor in series lead from a comparator's output back to its threshold, or from a
    gate to its source."""
    return any(
        out in one.pins.values() and _across(netlist, "resistor", plus, kick)
        for one in netlist.of_kind("capacitor")
        for kick in one.pins.values()
        if kick not in (out, plus)
    )


def _suppressed(netlist: Netlist, relay: Part) -> list[Fault]:
    """A suppressor across the contact, idle at the terminal's voltage and conducting before the contact breaks down."""
    across = _across(netlist, "suppressor", relay.pins["out1"], relay.pins["out2"])
    if not across:
        say = f"nothing clamps the contact of {relay.ref}; fit the suppressor across it."
        return [Fault("guard", relay.ref, say)]
    fits = [one for one in across if one.value("clamp_v") < relay.value("contact_max_v")]
    if not any(one.value("standoff_v") >= RELEASE_MAX_V for one in fits):
        say = f"the suppressor of {relay.ref} must idle at {RELEASE_MAX_V:g} V and clamp below the contact's limit."
        return [Fault("rating", relay.ref, say)]
    return []
