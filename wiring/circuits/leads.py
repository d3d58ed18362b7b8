"""Leads, plugs and connectors between the boards, the box's wall and what hangs on it: every contact and its net.

Connectors are such that no two that must not meet fit each other. Tip, ring and sleeve follow the trade's habit for
remote leads (common practice, no source); what a body itself has is found with a meter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from coincide_wiring.circuits.model import Netlist


@dataclass(frozen=True, slots=True)
class Lead:
    """A lead or a pair of connectors. `contacts` maps each contact of the plug at the box's end to its net; `far` is
    what its other end is; `longest_m` the length it was reckoned for; `circuit` the circuit it serves."""

    name: str
    circuit: str
    plug: str
    contacts: Mapping[str, str]
    far: str
    longest_m: float
    mind: str


def _lead(
    name: str, circuit: str, plug: str, contacts: Mapping[str, str], far: str, longest_m: float, mind: str
) -> Lead:
    return Lead(name, circuit, plug, MappingProxyType(dict(contacts)), far, longest_m, mind)


PLUG_RELEASE = "jack plug 2.5 mm, 3 contacts"
PLUG_SYNC = "bayonet plug (BNC)"


def leads(netlist: Netlist) -> tuple[Lead, ...]:
    """The leads that a build wants, by what is on it."""
    refs = {one.ref for one in netlist.parts}
    found = []
    for body in "AB":
        wanted = f"release_{body.lower()}"
        if f"L51{body}" in refs:
            found.append(
                _lead(
                    f"Solenoid lead, body {body}",
                    f"solenoid_{body.lower()}",
                    PLUG_RELEASE,
                    {"tip": f"{body}_FULL", "sleeve": f"{body}_COM"},
                    "the solenoid's driver board; the ring stays open",
                    2.0,
                    "The driver sits at the solenoid with its own supply; nothing of it goes into the box.",
                )
            )
        else:
            found.append(
                _lead(
                    f"Release lead, body {body}",
                    wanted,
                    PLUG_RELEASE,
                    {"tip": f"{body}_FULL", "ring": f"{body}_HALF", "sleeve": f"{body}_COM"},
                    "what the body's remote terminal takes: a remote lead for it with the switch cut off",
                    2.0,
                    "Which of its wires is which, a meter tells: bridged to the common, half-press wakes the "
                    "body, full-press fires it. Mark the lead with the body's letter.",
                )
            )
        found.append(
            _lead(
                f"Sync lead, body {body}",
                f"sync_{body.lower()}",
                PLUG_SYNC,
                {"centre": f"{body}_SYNC_C", "outer": f"{body}_SYNC_O"},
                "coaxial flash plug (ISO 519), or a hot-shoe adapter with one",
                2.0,
                "Coaxial cable. An adapter's outer is the body's shell: it must touch neither the rig nor the "
                "other body.",
            )
        )
        for end in "12":
            channel = f"{body.lower()}{end}"
            found.append(
                _lead(
                    f"Gate sensor lead {channel}",
                    f"gate_{channel}",
                    "locking round connector, 3 contacts (M8)",
                    {"1": "3V3", "3": "GND", "4": f"gate_{channel}"},
                    "the sensor's own board, within 100 mm of the slit; soldered, strain relieved",
                    1.5,
                    "Not a jack: as one goes in, its tip touches ring and sleeve and shorts the 3.3 V. Screened "
                    "cable, screen on 3.",
                )
            )
    found += [
        _lead(
            "Release handle lead",
            "controls",
            "jack plug 3.5 mm, 3 contacts",
            {"tip": "SW_FULL", "ring": "SW_HALF", "sleeve": "GND"},
            "a two-stage handle or button",
            2.0,
            "3.5 mm, so that a handle goes into no body's socket (2.5 mm), nor a body's lead into the handle's.",
        ),
        _lead(
            "Foot switch lead",
            "controls",
            "jack plug 6.3 mm, 2 contacts",
            {"tip": "SW_WOUND", "sleeve": "GND"},
            "a foot switch or button that closes when pressed",
            3.0,
            "Some pedals open when pressed: then every frame counts as wound.",
        ),
        _lead(
            "Gate lamp lead",
            "gate_lamp",
            "plug 5.5 x 2.1 mm",
            {"centre": "LAMP_P", "outer": "LAMP_N"},
            "R45 and the two LEDs in the lamp's white box",
            2.0,
            "On its own supply and never on the box: a supply shared with the sensors carries the lamp's current "
            "past them.",
        ),
        _lead(
            "Lamp row lead",
            "lamp_row",
            "locking round connector, 5 contacts (M8)",
            {"1": "3V3", "2": "ROW_DATA", "3": "GND", "4": "ROW_CLOCK", "5": "ROW_LATCH"},
            "the lamp row's board",
            1.0,
            "Ground beside the clock. Five contacts do not mate with the three of a gate sensor.",
        ),
    ]
    return tuple(found)
