"""Whether a build is sound: the electrical rules, the spans of values, and every computed value within its limits. One
truth for what is checked, and for how far a value may be moved.
"""

from __future__ import annotations

from coincide_wiring.check import rules
from coincide_wiring.check.fault import Fault
from coincide_wiring.check.values import value_faults
from coincide_wiring.circuits.model import Netlist
from coincide_wiring.figures.build import figures_of
from coincide_wiring.netlist import Build, in_use


def check(build: Build) -> tuple[Fault, ...]:
    """Faults of a build with the bodies on the box, its computed values among them, and with the loopback plug in."""
    return (*rules.check(build), *figure_faults(in_use(build)))


def faults(netlist: Netlist) -> tuple[Fault, ...]:
    """Every fault of one netlist in use."""
    return (*rules.faults(netlist), *figure_faults(netlist))


def holds(netlist: Netlist) -> bool:
    """Whether all values lie in their spans and all that is computed from them within its limits. The quick part of
    `faults`: nothing is solved."""
    return not value_faults(netlist) and not figure_faults(netlist)


def figure_faults(netlist: Netlist) -> list[Fault]:
    """Computed values of which a corner leaves the limits; one fault where a formula has no answer, for such a circuit
    would not work at all."""
    try:
        found = figures_of(netlist)
    except (ValueError, ZeroDivisionError) as failure:
        return [Fault("figure", "values", f"A computed value has no answer: {failure}.")]
    return [
        Fault(
            "figure",
            one.key,
            f"The {one.title} is {one.least:.3g} to {one.most:.3g} {one.unit} and leaves its limits; it comes from "
            f"{', '.join(one.parts)}.",
        )
        for one in found
        if not one.inside
    ]
