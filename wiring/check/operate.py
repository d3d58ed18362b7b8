"""Direct-current operating point of a netlist: what every net sits at and what flows, in a given state.

Nodal analysis with switched semiconductors, solved again until no switch changes. It is enough to see what a
meter would show, and so to prove that outputs act on their own contact, that inputs stay inside their
ratings, and that nothing closes while the board boots. Transfer ratios, delays and tolerances are the
business of `figures`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coincide_wiring.check.stamps import (
    GPIO,
    JOINT_S,
    JUNCTION_S,
    OUTPUTS,
    STAMPS,
    Matrix,
    Solved,
    State,
    junctions_of,
    led_a,
)
from coincide_wiring.circuits.model import Netlist, Part

ROUNDS = 300
SETTLED_V = 1e-6

__all__ = ["GPIO", "OUTPUTS", "OperatingPoint", "State", "operating_point"]


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """`volt` by net (against board ground where the board is in the same domain), `ampere` by part.

    Keys of `ampere` are references; two currents of one part are told apart as 'K11A.led' and
    'K11A.contact', a board pin's as 'U1.gp3', a source's by its reference.
    """

    volt: Mapping[str, float]
    ampere: Mapping[str, float]

    def between(self, one: str, other: str) -> float:
        """Voltage of net `one` above net `other`, volts."""
        return self.volt[one] - self.volt[other]


def operating_point(netlist: Netlist, state: State) -> OperatingPoint:
    """Solve the netlist in a state. Raises ArithmeticError when the switches never settle."""
    nets = tuple(netlist.nets())
    place = {net: index for index, net in enumerate(nets)}
    junctions = tuple(j for one in netlist.parts for j in junctions_of(one))
    on: frozenset[str] = frozenset()
    volts: npt.NDArray[np.float64] = np.zeros(len(nets))

    def volt(net: str) -> float:
        return float(volts[place[net]])

    for _ in range(ROUNDS):
        m, solved = Matrix(nets), Solved(volt, on)
        for one in netlist.parts:
            if one.kind in STAMPS:
                STAMPS[one.kind](m, one, state, solved)
        for j in junctions:
            if j.key in on:
                m.source(j.plus, j.minus, j.volt, JUNCTION_S)
        previous, volts = volts, m.solve()
        now_on = frozenset(j.key for j in junctions if volt(j.plus) - volt(j.minus) > j.volt)
        if now_on == on and np.allclose(previous, volts, atol=SETTLED_V):
            ground_v = next((volt(one.pins["gnd"]) for one in netlist.of_kind("board")), 0.0)
            currents = {
                k: a for one in netlist.parts for k, a in _currents(one, state, Solved(volt, on)).items()
            }
            return OperatingPoint({net: volt(net) - ground_v for net in nets}, currents)
        on = now_on
    raise ArithmeticError("it has no steady state; something oscillates")


def _currents(one: Part, state: State, solved: Solved) -> dict[str, float]:
    """Currents of one part, amperes."""
    p, volt = one.pins, solved.volt
    found = {
        j.key: (volt(j.plus) - volt(j.minus) - j.volt) * JUNCTION_S if j.key in solved.on else 0.0
        for j in junctions_of(one)
    }
    match one.kind:
        case "resistor" | "resistor_array" | "fuse" | "cutout":
            found[one.ref] = (volt(p["one"]) - volt(p["other"])) / one.value("resistance_ohm")
        case "solenoid":
            found[one.ref] = (volt(p["coil1"]) - volt(p["coil2"])) / one.value("coil_ohm")
        case "cell" | "supply":
            name = "voltage_v" if one.kind == "cell" else "supply_v"
            found[one.ref] = (one.value(name) - volt(p["plus"]) + volt(p["minus"])) * JOINT_S
        case "photorelay":
            closed = led_a(one, solved) >= one.value("trigger_a")
            across = volt(p["out1"]) - volt(p["out2"])
            found[f"{one.ref}.contact"] = across / one.value("on_ohm") if closed else 0.0
        case "npn":
            across = volt(p["collector"]) - volt(p["emitter"]) - one.value("saturation_v")
            found[one.ref] = across * JUNCTION_S if f"{one.ref}.base" in solved.on else 0.0
        case "board":
            for name in OUTPUTS:
                pin = GPIO[name]
                if name in state.levels and pin in p:
                    driven_v = state.levels[name] * one.value("rail_v") + volt(p["gnd"])
                    found[f"{one.ref}.{pin}"] = (driven_v - volt(p[pin])) / one.value("output_ohm")
    return found
