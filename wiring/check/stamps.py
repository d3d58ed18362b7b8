"""How each kind of part conducts: its entries in the nodal matrix of `operate`.

Semiconductors are piecewise linear: open, or a voltage with a slope. Whether a part is on follows from the
last solution, which is repeated until nothing changes.
"""

# ruff: noqa: ARG001 - every stamp has one signature, whether or not it looks at the state or the solution.

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy.sparse import csc_array
from scipy.sparse.linalg import splu

from coincide_firmware.app.pins import OUT, PINS
from coincide_wiring.circuits.model import Part
from coincide_wiring.circuits.sensors import slit_share

LEAK_S = 1e-9  # siemens from every net to the datum, so that floating circuits have a solution
JOINT_S = 100.0  # a wire, a closed switch, a stiff source
JUNCTION_S = 1.0  # slope of a conducting junction
SATURATED_S = 0.01  # a phototransistor driven hard
COMPARATOR_S = 0.02
AMPLIFIER_S, AMPLIFIER_GAIN = 0.1, 1e5
PIN_CLAMP_V = 0.3  # a floating pin that leaks rises no further than this above its rail
SILICON_V = 0.6
OPTO_ON_A = 0.1e-3  # LED current above which the phototransistor is taken as closed

# The two poles of the interlock: what the chip reads, and the isolators' way to ground.
POLES = {"sense": ("one", "other"), "return": ("return1", "return2")}

GPIO = {row[0]: f"gp{row[1]}" for row in PINS}
OUTPUTS = tuple(row[0] for row in PINS if row[2] == OUT)


@dataclass(frozen=True, slots=True)
class State:
    """What is done to the circuit.

    `levels`: board outputs driven to 0 or 1; those not named float and leak (boot, reset, boot-loader).
    `closed`: references of switches and buttons closed ("S62.sense" and "S62.return" for one pole of two).
    `contacts`: bodies whose sync contact is closed.
    `light_lx`: light on the gate sensors named ("a1"). `lamp`: the lamp row has a lamp lit in every stage.
    """

    levels: Mapping[str, int] = field(default_factory=dict)
    closed: frozenset[str] = frozenset()
    contacts: frozenset[str] = frozenset()
    light_lx: Mapping[str, float] = field(default_factory=dict)
    lamp: bool = False


@dataclass(frozen=True, slots=True)
class Solved:
    """The last solution: `volt` of a net against the datum, and which junctions conduct."""

    volt: Callable[[str], float]
    on: frozenset[str]


class Matrix:
    """Conductances and injected currents, net by net, as the entries of a sparse matrix."""

    def __init__(self, nets: tuple[str, ...]) -> None:
        self.index = {net: place for place, net in enumerate(nets)}
        self.rows = list(range(len(nets)))
        self.columns = list(range(len(nets)))
        self.siemens = [LEAK_S] * len(nets)
        self.inject = [0.0] * len(nets)

    def _add(self, row: int, column: int, siemens: float) -> None:
        self.rows.append(row)
        self.columns.append(column)
        self.siemens.append(siemens)

    def conduct(self, one: str, other: str, siemens: float) -> None:
        """A conductance between two nets."""
        a, b = self.index[one], self.index[other]
        for row, column, sign in ((a, a, 1.0), (b, b, 1.0), (a, b, -1.0), (b, a, -1.0)):
            self._add(row, column, sign * siemens)

    def push(self, into: str, out_of: str, ampere: float) -> None:
        """A current source."""
        self.inject[self.index[into]] += ampere
        self.inject[self.index[out_of]] -= ampere

    def source(self, plus: str, minus: str, volt: float, siemens: float = JOINT_S) -> None:
        """A voltage behind a conductance."""
        self.conduct(plus, minus, siemens)
        self.push(plus, minus, volt * siemens)

    def amplify(self, out: str, plus: str, minus: str, ground: str) -> None:
        """A voltage `gain * (plus - minus)` at `out` against `ground`, behind a conductance."""
        self.conduct(out, ground, AMPLIFIER_S)
        for row, sign in ((out, 1.0), (ground, -1.0)):
            self._add(self.index[row], self.index[plus], -sign * AMPLIFIER_S * AMPLIFIER_GAIN)
            self._add(self.index[row], self.index[minus], sign * AMPLIFIER_S * AMPLIFIER_GAIN)

    def solve(self) -> npt.NDArray[np.float64]:
        """Volts of every net. Sparse: quicker here than dense, and it starts no threads that fight for cores."""
        size = len(self.inject)
        matrix = csc_array((self.siemens, (self.rows, self.columns)), shape=(size, size))
        return np.asarray(splu(matrix).solve(np.asarray(self.inject)), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Junction:
    """Open, or a voltage with a slope."""

    key: str
    plus: str
    minus: str
    volt: float


def junctions_of(one: Part) -> tuple[Junction, ...]:
    """The junctions of a part."""
    p, ref = one.pins, one.ref
    match one.kind:
        case "diode" | "led":
            return (Junction(ref, p["anode"], p["cathode"], one.value("forward_v")),)
        case "photodiode":
            return (Junction(f"{ref}.forward", p["anode"], p["cathode"], SILICON_V),)
        case "photorelay" | "optocoupler":
            return (Junction(f"{ref}.led", p["anode"], p["cathode"], one.value("forward_v")),)
        case "led_array":
            return (Junction(ref, p["anodes"], p["cathode"], one.value("forward_v")),)
        case "zener":
            return (
                Junction(f"{ref}.forward", p["anode"], p["cathode"], one.value("forward_v")),
                Junction(f"{ref}.reverse", p["cathode"], p["anode"], one.value("zener_v")),
            )
        case "suppressor":
            return (
                Junction(f"{ref}.up", p["one"], p["other"], one.value("zener_v")),
                Junction(f"{ref}.down", p["other"], p["one"], one.value("zener_v")),
            )
        case "npn":
            return (Junction(f"{ref}.base", p["base"], p["emitter"], one.value("base_v")),)
        case "board":
            pins = [GPIO[name] for name in OUTPUTS if GPIO[name] in p]
            return tuple(Junction(f"{ref}.{pin}.clamp", p[pin], p["v3v3"], PIN_CLAMP_V) for pin in pins)
        case _:
            return ()


def led_a(one: Part, solved: Solved) -> float:
    """Current through the LED of an isolator, amperes."""
    if f"{one.ref}.led" not in solved.on:
        return 0.0
    across = solved.volt(one.pins["anode"]) - solved.volt(one.pins["cathode"])
    return (across - one.value("forward_v")) * JUNCTION_S


Stamp = Callable[[Matrix, Part, State, Solved], None]


def _resistance(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    m.conduct(one.pins["one"], one.pins["other"], 1 / one.value("resistance_ohm"))


def _trimmer(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    ohm, position = one.value("resistance_ohm"), one.value("position")
    m.conduct(one.pins["one"], one.pins["wiper"], 1 / ((1 - position) * ohm))
    m.conduct(one.pins["wiper"], one.pins["other"], 1 / (position * ohm))


def _coil(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    m.conduct(one.pins["coil1"], one.pins["coil2"], 1 / one.value("coil_ohm"))


def _laptop(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    m.source(one.pins["vbus"], one.pins["gnd"], one.value("supply_v"))
    m.conduct(one.pins["gnd"], one.pins["shield"], JOINT_S)


def _cell(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    m.source(one.pins["plus"], one.pins["minus"], one.value("voltage_v"))


def _supply(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    m.source(one.pins["plus"], one.pins["minus"], one.value("supply_v"))


def _metal(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    m.conduct(one.pins["plate"], one.pins["rig"], JOINT_S)


def _wire(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    m.conduct(one.pins["one"], one.pins["other"], JOINT_S)


def _switch(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    if one.ref in state.closed:
        _wire(m, one, state, solved)


def _switch2(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    for pole, (near, far) in POLES.items():
        if one.ref in state.closed or f"{one.ref}.{pole}" in state.closed:
            m.conduct(one.pins[near], one.pins[far], JOINT_S)


def _button2(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    if one.ref in state.closed:
        m.conduct(one.pins["half"], one.pins["common"], JOINT_S)
        m.conduct(one.pins["full"], one.pins["common"], JOINT_S)


def _photodiode(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    lux = state.light_lx.get(one.ref.removeprefix("D41").lower(), 0.0)
    ampere = lux * one.value("white_a_per_lx") * slit_share(one)
    m.push(one.pins["anode"], one.pins["cathode"], ampere)


def _body(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    p = one.pins
    for press in ("half", "full"):
        pull_s = 1 / one.value("release_pullup_ohm")
        m.source(p[press], p["common"], one.value("release_pullup_v"), pull_s)
    if one.ref.removeprefix("BODY_") in state.contacts:
        m.conduct(p["centre"], p["outer"], JOINT_S)


def _loopback(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    p = one.pins
    for body in "ab":
        for press in ("half", "full"):
            m.conduct(p[f"{body}_{press}"], p["a_centre"], JOINT_S)
        m.conduct(p[f"{body}_com"], p["a_outer"], JOINT_S)
    m.conduct(p["b_centre"], p["a_centre"], JOINT_S)
    m.conduct(p["b_outer"], p["a_outer"], JOINT_S)


def _board(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    p = one.pins
    m.source(p["v3v3"], p["gnd"], one.value("rail_v"))
    m.conduct(p["gnd"], p["shield"], JOINT_S)
    for name in OUTPUTS:
        net = p.get(GPIO[name])
        if net is None:
            continue
        if name in state.levels:
            m.source(net, p["gnd"], state.levels[name] * one.value("rail_v"), 1 / one.value("output_ohm"))
        else:
            m.push(net, p["gnd"], one.value("leak_a"))


def _photorelay(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    if led_a(one, solved) >= one.value("trigger_a"):
        m.conduct(one.pins["out1"], one.pins["out2"], 1 / one.value("on_ohm"))


def _optocoupler(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    if led_a(one, solved) >= OPTO_ON_A:
        m.conduct(one.pins["collector"], one.pins["emitter"], SATURATED_S)


def _npn(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    if f"{one.ref}.base" in solved.on:
        m.source(one.pins["collector"], one.pins["emitter"], one.value("saturation_v"), JUNCTION_S)


def _mosfet(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    if solved.volt(one.pins["gate"]) - solved.volt(one.pins["source"]) >= one.value("gate_on_v"):
        m.conduct(one.pins["drain"], one.pins["source"], 1 / one.value("on_ohm"))


def _limiter(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    across = solved.volt(one.pins["drain"]) - solved.volt(one.pins["source"])
    siemens = min(JUNCTION_S, one.value("limit_a") / max(across, 1e-3))
    m.conduct(one.pins["drain"], one.pins["source"], siemens)


def _comparator(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    if solved.volt(one.pins["minus"]) > solved.volt(one.pins["plus"]):
        m.conduct(one.pins["out"], one.pins["gnd"], COMPARATOR_S)


def _opamp(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    p = one.pins
    m.amplify(p["out"], p["plus"], p["minus"], p["gnd"])


def _shift_register(m: Matrix, one: Part, state: State, solved: Solved) -> None:
    level_v = (solved.volt(one.pins["vcc"]) - solved.volt(one.pins["gnd"])) if state.lamp else 0.0
    m.source(one.pins["q"], one.pins["gnd"], level_v, 1 / one.value("output_ohm"))


# Kinds not named conduct nothing here: capacitors, insulators, jacks.
STAMPS: Mapping[str, Stamp] = {
    "resistor": _resistance,
    "resistor_array": _resistance,
    "fuse": _resistance,
    "cutout": _resistance,
    "trimmer": _trimmer,
    "solenoid": _coil,
    "laptop": _laptop,
    "cell": _cell,
    "supply": _supply,
    "metal": _metal,
    "wire": _wire,
    "switch": _switch,
    "switch2": _switch2,
    "button": _switch,
    "button2": _button2,
    "photodiode": _photodiode,
    "body": _body,
    "loopback": _loopback,
    "board": _board,
    "photorelay": _photorelay,
    "optocoupler": _optocoupler,
    "npn": _npn,
    "mosfet": _mosfet,
    "limiter": _limiter,
    "comparator": _comparator,
    "opamp": _opamp,
    "shift_register": _shift_register,
}
