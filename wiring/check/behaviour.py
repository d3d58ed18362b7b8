"""The behavioural half of the electrical rule check: solve the circuit and see what it does.

Faults are searched in the states that matter: nobody drives the pins (boot, reset, boot-loader); idle; one
output alone; one contact, sensor or button alone; everything at once.
"""

from __future__ import annotations

from dataclasses import replace

from coincide_firmware.app.pins import IN, PINS
from coincide_wiring.check.fault import Fault
from coincide_wiring.check.operate import GPIO, OUTPUTS, OperatingPoint, State, operating_point
from coincide_wiring.circuits.model import Netlist
from coincide_wiring.circuits.specs import GATE_LX

INPUTS = tuple(row[0] for row in PINS if row[2] == IN)
RELEASES = ("half_a", "full_a", "half_b", "full_b")
GATES = ("gate_a1", "gate_a2", "gate_b1", "gate_b2")
SWITCHES = {"button_half": "S60", "button_full": "S60", "interlock": "S62", "wound": "S63", "preset": "S64"}
HIGH_GAIN_OHM = 200e3
LIT_A, DARK_A, BRIGHT_A = 1e-3, 10e-6, 0.1
STRESS_SHARE = 0.6  # of a power rating
IDLE = dict.fromkeys(OUTPUTS, 0)
INTERLOCK = frozenset({"S62"})
LEAST_PULL_S = 0.15  # the shortest closure that every release is asked for


def behaviour_faults(netlist: Netlist, plugged: bool) -> list[Fault]:
    """Everything the circuit does that its pin names do not promise, or that a part cannot stand."""
    try:
        boot = operating_point(netlist, State(closed=INTERLOCK))
        idle = operating_point(netlist, State(IDLE))
        full = operating_point(netlist, _everything(netlist))
        found = [*_boot(netlist, boot), *_resting(netlist, idle), *_lit(netlist, idle)]
        if not plugged:
            found += [*_releases(netlist), *_interlock(netlist), *_coils(netlist), *_inputs(netlist)]
        else:
            found += _loop(netlist)
    except (ArithmeticError, RuntimeError) as unsolved:
        return [Fault("solve", "", f"The circuit could not be solved: {unsolved}")]
    for point in (boot, idle, full):
        found += _stress(netlist, point)
    return list(dict.fromkeys(found))


def light(netlist: Netlist, channels: tuple[str, ...]) -> dict[str, float]:
    """Light for the gate sensors named ("a1"), as bright as their circuit is meant for, in lux."""
    return {name: GATE_LX[gate_variant(netlist, name)][0] for name in channels}


def gate_variant(netlist: Netlist, channel: str) -> str:
    """Which of GATE_VARIANTS a gate sensor ("a1") was built as."""
    if f"U42{channel.upper()}" not in {one.ref for one in netlist.of_kind("opamp")}:
        return "load"
    gains = [one for one in netlist.of_kind("resistor") if one.ref == f"R41{channel.upper()}"]
    high = any(gain.value("resistance_ohm") > HIGH_GAIN_OHM for gain in gains)
    return "through-lens" if high else "transimpedance"


def _everything(netlist: Netlist) -> State:
    return State(
        dict.fromkeys(OUTPUTS, 1),
        frozenset(SWITCHES.values()) | coil_switches(netlist),
        frozenset("AB"),
        light(netlist, ("a1", "a2", "b1", "b2")),
        lamp=True,
    )


def _boot(netlist: Netlist, point: OperatingPoint) -> list[Fault]:
    found = []
    for one in netlist.of_kind("photorelay"):
        led_a = point.ampere[f"{one.ref}.led"]
        if led_a > one.value("holdoff_a"):
            say = (
                f"{one.ref} gets {led_a * 1e6:.0f} µA while the board boots and may close; see its pull-down."
            )
            found.append(Fault("fires at boot", one.ref, say))
    return found


def _lit(netlist: Netlist, idle: OperatingPoint) -> list[Fault]:
    """Status lights and lamps are dark at rest, and lit by their own signal alone."""
    found = []
    signals = {"D70": State({**IDLE, "led_ok": 1}), "D71": State({**IDLE, "led_out": 1})}
    signals |= {one.ref: State(IDLE, lamp=True) for one in netlist.of_kind("led_array")}
    for ref, state in signals.items():
        dark_a = idle.ampere.get(ref, 0.0)
        lit_a = operating_point(netlist, state).ampere.get(ref, 0.0)
        if dark_a > DARK_A or lit_a < LIT_A:
            say = (
                f"{ref} gets {lit_a * 1e3:.1f} mA when it should be lit and {dark_a * 1e3:.1f} mA when dark."
            )
            found.append(Fault("light", ref, say))
    for ref in ("D45", "D46"):
        if idle.ampere.get(ref, 0.0) < BRIGHT_A:
            found.append(Fault("light", ref, f"{ref} of the gate lamp gets no current; check its direction."))
    return found


def _resting(netlist: Netlist, point: OperatingPoint) -> list[Fault]:
    """With nothing pressed, closed or lit every input reads 'not active' (all are active low)."""
    high_v = netlist.of_kind("board")[0].value("input_high_v")
    found = []
    for net in INPUTS:
        if point.volt[net] < high_v:
            say = f"{net} sits at {point.volt[net]:.2f} V at rest and would read 'active'; check its pull-up."
            found.append(Fault("input at rest", net, say))
    return found


def _closed_pairs(netlist: Netlist, point: OperatingPoint) -> set[frozenset[str]]:
    return {
        frozenset((one.pins["out1"], one.pins["out2"]))
        for one in netlist.of_kind("photorelay")
        if point.ampere[f"{one.ref}.led"] >= one.value("trigger_a")
    }


def _releases(netlist: Netlist) -> list[Fault]:
    """Each output alone closes its own body's contact, that one and no other."""
    found = []
    for output in RELEASES:
        press, body = output.upper().split("_")
        wanted = {frozenset((f"{body}_{press}", f"{body}_COM"))}
        closed = _closed_pairs(netlist, operating_point(netlist, State({**IDLE, output: 1}, INTERLOCK)))
        if closed != wanted:
            say = f"{output} alone closes {_pairs(closed)}; it should close {_pairs(wanted)}."
            found.append(Fault("wrong contact", output, say))
    return found


def _interlock(netlist: Netlist) -> list[Fault]:
    """Open, it leaves every isolator dark, though the chip drives all outputs: no chip is needed for it."""
    point = operating_point(netlist, State(dict.fromkeys(OUTPUTS, 1)))
    return [
        Fault(
            "interlock",
            one.ref,
            f"{one.ref} is lit by its output though the interlock is open; see its return.",
        )
        for one in netlist.of_kind("photorelay")
        if point.ampere[f"{one.ref}.led"] > one.value("holdoff_a")
    ]


def coil_switches(netlist: Netlist) -> frozenset[str]:
    """References of the switches in the supplies of the coils."""
    plus = {one.pins["plus"] for one in netlist.of_kind("supply")}
    return frozenset(one.ref for one in netlist.of_kind("switch") if one.pins["one"] in plus)


def _coils(netlist: Netlist) -> list[Fault]:
    """A closure pulls its coil in; the coil rests without one, after one that never ends, and with its switch off."""
    found, switches = [], coil_switches(netlist)
    first = charged_netlist(netlist)
    for coil in netlist.of_kind("solenoid"):
        output, least_a = f"full_{coil.ref[-1].lower()}", 0.1 * coil.value("pull_in_a")

        def ampere(
            of: Netlist, level: int, on: frozenset[str], output: str = output, ref: str = coil.ref
        ) -> float:
            return operating_point(of, State({**IDLE, output: level}, INTERLOCK | on)).ampere[ref]

        pulled, resting = ampere(first, 1, switches), ampere(first, 0, switches)
        if pulled < coil.value("pull_in_a") or resting > least_a:
            say = f"{coil.ref} carries {pulled:.2f} A with {output} on and {resting:.2f} A with it off."
            found.append(Fault("solenoid", coil.ref, say))
        held = ampere(netlist, 1, switches)
        if held > least_a:
            say = f"{coil.ref} carries {held:.2f} A for as long as {output} is closed: nothing ends a pull by itself."
            found.append(Fault("held", coil.ref, say))
        off = ampere(first, 1, frozenset())
        if off > least_a:
            found.append(Fault("held", coil.ref, f"{coil.ref} carries {off:.2f} A with its switch off."))
    return found


def _pairs(closed: set[frozenset[str]]) -> str:
    return " and ".join(sorted("-".join(sorted(pair)) for pair in closed)) or "nothing"


def _inputs(netlist: Netlist) -> list[Fault]:
    """Each contact, sensor and button alone pulls its own input low, and no other.

    A contact wetted from a capacitor only pulses: it is judged with the capacitor full.
    """
    low_v = netlist.of_kind("board")[0].value("input_low_v")
    states = {f"sync_{body.lower()}": State(IDLE, contacts=frozenset(body)) for body in "AB"}
    states |= {net: State(IDLE, light_lx=light(netlist, (net.removeprefix("gate_"),))) for net in GATES}
    states |= {net: State(IDLE, closed=frozenset((switch,))) for net, switch in SWITCHES.items()}
    found = []
    charged = charged_netlist(netlist)
    for net, state in states.items():
        point = operating_point(charged, state)
        pulled = {name for name in INPUTS if point.volt[name] <= low_v}
        wanted = {name for name, switch in SWITCHES.items() if switch == SWITCHES.get(net)} or {net}
        if pulled != wanted:
            got = " and ".join(sorted(pulled)) or "no input"
            found.append(
                Fault("wrong input", net, f"what belongs to {net} pulls {got} low; check its wires.")
            )
    return found


def charged_netlist(netlist: Netlist) -> Netlist:
    """The first instant of a pulse: each wetting capacitor as a cell of its full voltage.

    A wetting capacitor is one that hangs across a floating cell and its series resistor.
    """
    for cell in netlist.of_kind("cell"):
        minus, plus = cell.pins["minus"], cell.pins["plus"]
        for store in netlist.of_kind("capacitor"):
            ends = set(store.pins.values())
            if minus in ends and plus not in ends:
                (top,) = ends - {minus}
                full = cell.rewired("plus", top)
                netlist = netlist.changed(full).without(store.ref)
    return _empty(netlist)


def _empty(netlist: Netlist) -> Netlist:
    """The first instant of a closure: a capacitor that leads to a transistor's gate is empty, and so a wire."""
    gates = {one.pins["gate"] for one in netlist.of_kind("mosfet")}
    for store in netlist.of_kind("capacitor"):
        if gates & set(store.pins.values()):
            netlist = netlist.changed(replace(store, kind="wire"))
    return netlist


def _loop(netlist: Netlist) -> list[Fault]:
    """Plug in: every output reaches both sync inputs."""
    low_v = netlist.of_kind("board")[0].value("input_low_v")
    charged, found = charged_netlist(netlist), []
    for output in RELEASES:
        point = operating_point(charged, State({**IDLE, output: 1}, INTERLOCK))
        for net in ("sync_a", "sync_b"):
            if point.volt[net] > low_v:
                say = f"{output} does not reach {net} through the loopback plug."
                found.append(Fault("loopback", output, say))
    return found


def _stress(netlist: Netlist, point: OperatingPoint) -> list[Fault]:
    """Voltages on inputs, currents and powers against ratings."""
    board = netlist.of_kind("board")[0]
    found = []
    for net in INPUTS:
        if not board.value("input_min_v") <= point.volt[net] <= board.value("input_max_v"):
            say = (
                f"{net} sees {point.volt[net]:.2f} V; the board stands {board.value('input_min_v'):g} to "
                f"{board.value('input_max_v'):g} V."
            )
            found.append(Fault("rating", net, say))
    pins_a = [abs(point.ampere.get(f"{board.ref}.{GPIO[name]}", 0.0)) for name in OUTPUTS]
    if max(pins_a) > board.value("pin_max_a"):
        found.append(
            Fault("current", board.ref, f"an output gives {max(pins_a) * 1e3:.1f} mA; too much for a pin.")
        )
    if sum(pins_a) > board.value("pins_total_max_a"):
        found.append(
            Fault("current", board.ref, f"the outputs together give {sum(pins_a) * 1e3:.0f} mA; too much.")
        )
    for one in netlist.parts:
        if one.kind == "resistor":
            watt = point.ampere[one.ref] ** 2 * one.value("resistance_ohm")
            if watt > STRESS_SHARE * one.value("power_w"):
                say = f"{one.ref} turns {watt:.2f} W into heat; it is rated {one.value('power_w'):g} W."
                found.append(Fault("power", one.ref, say))
        for key in (one.ref, f"{one.ref}.led"):
            if key in point.ampere and "current_max_a" in one.values:
                ampere = abs(point.ampere[key])
                if ampere > one.value("current_max_a"):
                    say = f"{one.ref} carries {ampere * 1e3:.0f} mA; that is more than it stands."
                    found.append(Fault("current", one.ref, say))
        if one.kind == "photorelay":
            ampere = abs(point.ampere[f"{one.ref}.contact"])
            if ampere > one.value("contact_max_a"):
                found.append(Fault("current", one.ref, f"the contact of {one.ref} carries {ampere:.2f} A."))
    return found
