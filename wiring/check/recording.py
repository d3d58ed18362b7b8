"""Rules for what leads to a sound input or an instrument: it must reach no metal of a body, whatever fails.

As in the check of the box, every part is taken as a conductor except across an insulator.
"""

from __future__ import annotations

from coincide_wiring.check.domains import joins
from coincide_wiring.check.fault import Fault
from coincide_wiring.circuits.model import Netlist, Part, Sheet
from coincide_wiring.circuits.recording import CHANNELS, COMMON, TABLE, TURN_DOWN_OHM, TURN_UP_OHM

INPUTS = ("plug", "instrument")
SENSORS = {"photodiode": "cathode", "piezo": "crystal", "sensor": "signal"}
INSTRUMENT_NETS = {"A": "gate_a1", "B": "gate_b1"}
SHELLS = ("A_SHELL", "B_SHELL")


def recording_faults(sheet: Sheet) -> tuple[Fault, ...]:
    """What is joined that must stay apart, what is missing, and what is turned round."""
    netlist = Netlist(sheet.parts)
    inputs = netlist.of_kind(*INPUTS)
    if len(inputs) != 1:
        return (Fault("input", sheet.name, f"There must be one plug or instrument, not {len(inputs)}."),)
    return (
        *_apart(netlist, inputs[0]),
        *_terminals(netlist),
        *_sensors(netlist, inputs[0]),
        *_loads(netlist),
        *_dangling(netlist),
    )


def _apart(netlist: Netlist, given: Part) -> list[Fault]:
    """The input, either body and the table are four things that nothing joins."""
    things = (
        (tuple(given.pins.values()), "the input"),
        *(((shell,), f"body {shell[0]}") for shell in SHELLS),
        ((TABLE,), "the table"),
    )
    found = [Fault("apart", join.nets[1], join.say) for join in joins(netlist, things)]
    common = given.pins["sleeve" if given.kind == "plug" else "ground"]
    for shell in SHELLS:
        if not any({common, shell} == set(one.pins.values()) for one in netlist.of_kind("insulator")):
            found.append(
                Fault("apart", shell, f"Nothing insulates the sensor from body {shell[0]}: holder or tape.")
            )
    return found


def _terminals(netlist: Netlist) -> list[Fault]:
    """A sync contact or a release terminal carries up to hundreds of volts: none may come near."""
    return [
        Fault(
            "terminal",
            net,
            f"{net} is a terminal of body {net[0]}: none may lead to a sound input or an instrument.",
        )
        for net in netlist.nets()
        if net[:2] in ("A_", "B_") and net not in SHELLS
    ]


def _sensors(netlist: Netlist, given: Part) -> list[Fault]:
    found = []
    nets = CHANNELS if given.kind == "plug" else INSTRUMENT_NETS
    for body, net in nets.items():
        if net not in given.pins.values():
            found.append(Fault("channel", net, f"Body {body}'s channel is not on the {given.kind}."))
        on_it = [one for one in netlist.of_kind(*SENSORS) if net in one.pins.values()]
        if len(on_it) != 1:
            found.append(
                Fault("channel", net, f"Body {body}'s channel has {len(on_it)} sensors: one is wanted.")
            )
        for one in on_it:
            if one.pins[SENSORS[one.kind]] != net:
                say = f"{one.ref} is turned round: its {SENSORS[one.kind]} belongs on {net}."
                found.append(Fault("turned", one.ref, say))
    return found


def _loads(netlist: Netlist) -> list[Fault]:
    """Either both diodes have a load or neither; one of 1 to 10 kOhm, across its diode."""
    found = []
    loads = netlist.of_kind("resistor")
    if loads and len(loads) != len(netlist.of_kind("photodiode")):
        found.append(
            Fault("load", loads[0].ref, "One diode has a load and the other has none: make both alike.")
        )
    for one in loads:
        if set(one.pins.values()) not in ({CHANNELS["A"], COMMON}, {CHANNELS["B"], COMMON}):
            found.append(Fault("load", one.ref, f"{one.ref} does not lie across a diode."))
        if not TURN_DOWN_OHM <= one.value("resistance_ohm") <= TURN_UP_OHM:
            found.append(Fault("load", one.ref, f"{one.ref} is to be 1 to 10 kΩ."))
    return found


def _dangling(netlist: Netlist) -> list[Fault]:
    return [
        Fault(
            "dangling",
            f"{pins[0][0]} {pins[0][1]}",
            f"{net} ends at {pins[0][0]} {pins[0][1]} and goes nowhere.",
        )
        for net, pins in netlist.nets().items()
        if len(pins) == 1 and net not in SHELLS
    ]
