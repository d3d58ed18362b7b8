"""Electrical rule check over a netlist: the same data the drawings and the parts list come from.

Two kinds of rule. Structural: what must be there and what must never be joined, found by walking the nets.
Behavioural: the circuit is solved in the states that matter (booting, idle, each output alone, each contact
alone, everything at once) and must do what its pin names promise inside every rating. An empty tuple of
faults means the build is sound; every fault says what, where and what to do.
"""

from __future__ import annotations

from coincide_firmware.app.pins import PINS
from coincide_wiring.check.behaviour import behaviour_faults
from coincide_wiring.check.domains import domains, joins, path_between
from coincide_wiring.check.fault import Fault
from coincide_wiring.check.presence import presence_faults
from coincide_wiring.check.values import value_faults
from coincide_wiring.circuits.model import NOT_CONNECTED, Netlist, Part
from coincide_wiring.netlist import Build, in_use, zero_check

LEFT_UNCONNECTED = ("beat",)
OUTPUT_NETS = tuple(row[0] for row in PINS if row[2] == "out" and row[0] not in LEFT_UNCONNECTED)
RELEASE_NETS = ("half_a", "full_a", "half_b", "full_b")
SYNC_NETS = {"sync_a": "A", "sync_b": "B"}
GND, RAIL = "GND", "3V3"
# Conductors that must stay apart, each with the words a person at the bench uses.
APART = (
    (("A_SHELL", "A_COM", "A_SYNC_O", "A_SYNC_C"), "body A"),
    (("B_SHELL", "B_COM", "B_SYNC_O", "B_SYNC_C"), "body B"),
    (("TRIPOD_PLATE", "RIG_METAL"), "the tripod plate and rig metal"),
    ((GND, "USB_EARTH"), "the board and USB earth"),
)


def check(build: Build) -> tuple[Fault, ...]:
    """Faults of a build in both its states: bodies on the box, and loopback plug in."""
    return (*faults(in_use(build)), *faults(zero_check(build)))


def faults(netlist: Netlist) -> tuple[Fault, ...]:
    """Every fault of one netlist; behavioural rules run only on one whose pins are sound."""
    structural = structural_faults(netlist)
    if any(one.rule == "pins" for one in structural):
        return structural
    return (*structural, *behaviour_faults(netlist, bool(netlist.of_kind("loopback"))))


def structural_faults(netlist: Netlist) -> tuple[Fault, ...]:
    """What is missing, joined or on the wrong net, found by walking the nets."""
    plugged = bool(netlist.of_kind("loopback"))
    return (
        *_pins(netlist),
        *_dangling(netlist, plugged),
        *_apart(netlist, plugged),
        *_outputs(netlist),
        *_sync(netlist, plugged),
        *_holders(netlist),
        *_coils(netlist),
        *_coil_ends(netlist),
        *_plug(netlist, plugged),
        *_ratings(netlist),
        *presence_faults(netlist),
        *value_faults(netlist),
    )


def _pins(netlist: Netlist) -> list[Fault]:
    """Every signal of the pin table on its own GPIO, once."""
    boards = netlist.of_kind("board")
    if len(boards) != 1:
        return [Fault("pins", "U1", f"There must be one board, not {len(boards)}.")]
    pins, found = boards[0].pins, []
    wanted = {f"gp{row[1]}": row[0] for row in PINS}
    for pin, net in pins.items():
        if pin.startswith("gp") and pin not in wanted:
            found.append(
                Fault("pins", f"U1 {pin}", f"{pin} carries {net}, but the pin table does not use it.")
            )
    for pin, signal in wanted.items():
        if pin not in pins:
            found.append(Fault("pins", f"U1 {pin}", f"{signal} has no pin; the pin table puts it on {pin}."))
        elif pins[pin] != signal:
            say = f"{pin} carries {pins[pin]}; the pin table says {signal}. Swap the wires."
            found.append(Fault("pins", f"U1 {pin}", say))
    return found


def _dangling(netlist: Netlist, plugged: bool) -> list[Fault]:
    """No net with a single pin, except those left open on purpose."""
    allowed = {*LEFT_UNCONNECTED}
    if plugged:
        allowed |= {"A_SHELL", "B_SHELL", "RIG_METAL"}
    found = []
    for net, pins in netlist.nets().items():
        if len(pins) == 1 and net not in allowed and not net.startswith(NOT_CONNECTED):
            ref, pin = pins[0]
            found.append(Fault("dangling", f"{ref} {pin}", f"{net} ends at {ref} {pin} and goes nowhere."))
    return found


def _apart(netlist: Netlist, plugged: bool) -> list[Fault]:
    """Bodies, rig metal and the earthed board conduct to one another nowhere.

    With the loopback plug in, the two sync inputs are one circuit on purpose; the board stays apart.
    """
    found = [
        Fault("apart", join.nets[0], join.say)
        for join in joins(netlist, APART)
        if not (plugged and join.names == ("body A", "body B"))
    ]
    return found if plugged else [*found, *_own_circuits(netlist)]


def _own_circuits(netlist: Netlist) -> list[Fault]:
    """Each insulator must really stand between two domains, or it is bridged or wired on one side."""
    domain, found = domains(netlist), []
    for one in netlist.of_kind("insulator", "photorelay", "optocoupler"):
        first, second = one.sides()
        if domain[one.pins[first[0]]] == domain[one.pins[second[0]]]:
            way = " - ".join(path_between(netlist, one.pins[first[0]], one.pins[second[0]]))
            found.append(Fault("apart", one.ref, f"{one.ref} isolates nothing, its sides are joined: {way}."))
    return found


def _resistors_between(netlist: Netlist, net: str, other: str) -> list[Part]:
    ends = {net, other}
    return [one for one in netlist.of_kind("resistor") if {one.pins["one"], one.pins["other"]} == ends]


def _outputs(netlist: Netlist) -> list[Fault]:
    """Every output pulled down hard enough; every release output through a polarity-free isolator."""
    found = []
    limit_ohm = netlist.of_kind("board")[0].value("pulldown_ohm_max") if netlist.of_kind("board") else 0.0
    for net in OUTPUT_NETS:
        downs = [
            one.value("resistance_ohm") * (1 + one.value("tolerance"))
            for one in _resistors_between(netlist, net, GND)
        ]
        if not downs:
            say = f"{net} has no pull-down: it floats at boot. Fit {limit_ohm:g} Ω or less to ground."
            found.append(Fault("pull-down", net, say))
        elif min(downs) > limit_ohm:
            say = f"the pull-down of {net} is {min(downs):.0f} Ω; it must not exceed {limit_ohm:g} Ω."
            found.append(Fault("pull-down", net, say))
    for net in RELEASE_NETS:
        far = {
            one.pins[end]
            for one in netlist.of_kind("resistor")
            for end, near in (("one", "other"), ("other", "one"))
            if one.pins[near] == net and one.pins[end] != GND
        }
        isolators = [one for one in netlist.of_kind("photorelay") if one.pins["anode"] in far]
        if not isolators:
            say = f"{net} reaches no polarity-free isolator through a resistor; fit one."
            found.append(Fault("isolator", net, say))
    return found


def _sync(netlist: Netlist, plugged: bool) -> list[Fault]:
    """Each sync input through an optocoupler, its contact on a floating supply of its own."""
    found = []
    domain = domains(netlist)
    for net, body in SYNC_NETS.items():
        isolators = [one for one in netlist.of_kind("optocoupler") if one.pins["collector"] == net]
        if len(isolators) != 1:
            say = f"{net} needs exactly one optocoupler, it has {len(isolators)}."
            found.append(Fault("isolator", net, say))
            continue
        here = domain[isolators[0].pins["anode"]]
        cells = [one for one in netlist.of_kind("cell") if domain[one.pins["plus"]] == here]
        expected = 2 if plugged else 1
        if len(cells) != expected:
            say = f"the sync contact of body {body} has {len(cells)} supplies; it needs a cell of its own."
            found.append(Fault("floating supply", net, say))
    return found


def _holders(netlist: Netlist) -> list[Fault]:
    """Insulating parts that must be there: plates under both shells, sensor holders, the enclosure."""
    pairs = {frozenset(one.pins.values()) for one in netlist.of_kind("insulator")}
    found = []
    wanted = [
        (f"{one.pins['shell']}", "TRIPOD_PLATE", "an insulating plate") for one in netlist.of_kind("body")
    ]
    if netlist.of_kind("body"):
        wanted.append((GND, "RIG_METAL", "an insulating enclosure"))
    for one, other, what in wanted:
        if frozenset((one, other)) not in pairs:
            found.append(Fault("insulator", one, f"{what} between {one} and {other} is missing."))
    held = [frozenset(one.pins.values()) for one in netlist.of_kind("insulator")]
    for body in "AB":
        sensors = [one for one in netlist.of_kind("photodiode") if one.ref.startswith(f"D41{body}")]
        if held.count(frozenset((GND, f"{body}_SHELL"))) < len(sensors):
            say = f"a gate sensor of body {body} has no insulating holder."
            found.append(Fault("insulator", f"{body}_SHELL", say))
    return found


def _coils(netlist: Netlist) -> list[Fault]:
    """Every coil has a flyback path pointing the right way, its transistor rated above the clamp."""
    found = []
    for coil in netlist.of_kind("solenoid"):
        drain, feed = coil.pins["coil2"], coil.pins["coil1"]
        diodes = [one for one in netlist.of_kind("diode") if one.pins["anode"] == drain]
        clamp_v = None
        for diode in diodes:
            end = diode.pins["cathode"]
            if end == feed:
                clamp_v = diode.value("forward_v")
            for zener in netlist.of_kind("zener"):
                if zener.pins["cathode"] == end and zener.pins["anode"] == feed:
                    top = zener.value("zener_v") * (1 + zener.value("zener_tolerance"))
                    clamp_v = diode.value("forward_v") + top
        if clamp_v is None:
            say = f"{coil.ref} has no flyback path; it would destroy its switch. Fit the diode."
            found.append(Fault("flyback", coil.ref, say))
            continue
        for switch in netlist.of_kind("mosfet"):
            gate, source = switch.pins["gate"], switch.pins["source"]
            if switch.pins["drain"] == drain and not _resistors_between(netlist, gate, source):
                say = f"the gate of {switch.ref} floats while the isolator is open; fit its resistor."
                found.append(Fault("floating gate", switch.ref, say))
        supply_v = max((one.value("supply_v_max") for one in netlist.of_kind("supply")), default=0.0)
        for switch in netlist.of_kind("mosfet"):
            if switch.pins["drain"] == drain and switch.value("drain_max_v") < supply_v + clamp_v:
                say = f"{switch.ref} would see {supply_v + clamp_v:.0f} V; that is more than it stands."
                found.append(Fault("rating", switch.ref, say))
    return found


def _coil_ends(netlist: Netlist) -> list[Fault]:
    """Every coil can be let go without its transistor: a switch of its own, and a cut-out."""
    found = []
    plus = {one.pins["plus"] for one in netlist.of_kind("supply")}
    for coil in netlist.of_kind("solenoid"):
        tag = coil.ref.removeprefix("L51")
        if not any(one.ref.endswith(tag) and one.pins["one"] in plus for one in netlist.of_kind("switch")):
            found.append(
                Fault("coil", coil.ref, f"{coil.ref} has no switch of its own in its supply; fit one.")
            )
        if not any(coil.pins["coil1"] in one.pins.values() for one in netlist.of_kind("cutout")):
            say = f"{coil.ref} has no thermal cut-out; a stuck transistor would cook it."
            found.append(Fault("coil", coil.ref, say))
    return found


def _plug(netlist: Netlist, plugged: bool) -> list[Fault]:
    """The loopback plug and a body, or a solenoid driver, are never on the box together."""
    if plugged and netlist.of_kind("body", "solenoid"):
        return [
            Fault(
                "plug",
                "P91",
                "The loopback plug is in while a body or driver is on; take the body off first.",
            )
        ]
    return []


def _ratings(netlist: Netlist) -> list[Fault]:
    """Voltage ratings against the worst thing the terminals may bring."""
    found = []
    for body in netlist.of_kind("body"):
        release_v, fault_v = body.value("release_max_v"), body.value("fault_v")
        letter = body.ref.removeprefix("BODY_")
        for one in netlist.of_kind("photorelay"):
            if one.pins["out1"].startswith(f"{letter}_") and one.value("contact_max_v") < 2 * release_v:
                say = f"{one.ref} stands {one.value('contact_max_v'):g} V; {2 * release_v:g} V is wanted."
                found.append(Fault("rating", one.ref, say))
        for one in netlist.of_kind("photorelay", "optocoupler"):
            if one.value("isolation_v") < 2 * fault_v:
                say = f"{one.ref} isolates {one.value('isolation_v'):g} V; {2 * fault_v:g} V is wanted."
                found.append(Fault("rating", one.ref, say))
        for one in netlist.of_kind("limiter"):
            if one.ref.endswith(letter) and one.value("drain_max_v") < fault_v + 10.0:
                say = f"{one.ref} stands {one.value('drain_max_v'):g} V; {fault_v + 10.0:g} V is wanted."
                found.append(Fault("rating", one.ref, say))
            if one.ref.endswith(letter):
                blocking = [
                    diode
                    for diode in netlist.of_kind("diode")
                    if diode.pins["cathode"] == body.pins["centre"]
                ]
                if not any(diode.value("reverse_max_v") >= 2 * fault_v for diode in blocking):
                    say = f"no diode of {2 * fault_v:g} V guards {one.ref} from the sync terminal."
                    found.append(Fault("rating", one.ref, say))
    return found
