"""How far a value may be moved: for every resistor and capacitor, the preferred values that lie in their span and with
which every corner of every computed value keeps its limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

from coincide_wiring.check.values import VALUE_OF, spans_of
from coincide_wiring.circuits.model import Netlist, Part
from coincide_wiring.figures.build import figures_of
from coincide_wiring.netlist import Build, in_use
from coincide_wiring.sound import figure_faults

# IEC 60063, the E24 series of preferred values.
E24 = (
    *(1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0),
    *(3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1),
)
KINDS = ("resistor", "resistor_array", "capacitor")
COARSE = 0.05  # the tolerance of the cheaper film resistors
FURTHEST = 10.0  # nobody asks what lies further off; a value that holds so far counts as free


@dataclass(frozen=True, slots=True)
class Freedom:
    """One value in SI (`unit` "ohm" or "F") and the preferred values from `least` to `most` that hold in its place, it
    alone changed; None where nothing limits it. `coarse`: it holds with a tolerance of 5 % too."""

    refs: tuple[str, ...]
    unit: str
    value: float
    least: float | None
    most: float | None
    coarse: bool


def freedom(build: Build) -> tuple[Freedom, ...]:
    """The freedom of each value, parts that are alike together, in the order of the netlist."""
    netlist = in_use(build)
    grouped: dict[tuple[object, ...], list[str]] = {}
    for part in _depended_on(netlist):
        name, _ = VALUE_OF[part.kind]
        ends = (_last(netlist, part, name, -1), _last(netlist, part, name, 1))
        unit = "ohm" if name == "resistance_ohm" else "F"
        grouped.setdefault((unit, part.value(name), *ends, _coarse(netlist, part)), []).append(part.ref)
    return tuple(Freedom(tuple(refs), *found) for found, refs in grouped.items())  # type: ignore[arg-type]


@cache
def tight(build: Build) -> frozenset[str]:
    """References of resistors and capacitors for which 5 % will not do."""
    netlist = in_use(build)
    return frozenset(part.ref for part in _depended_on(netlist) if not _coarse(netlist, part))


def _depended_on(netlist: Netlist) -> tuple[Part, ...]:
    """Resistors and capacitors that have a span, or from which a figure is computed."""
    refs = {ref for one in figures_of(netlist) for ref in one.parts}
    return tuple(
        part for part in netlist.parts if part.kind in KINDS and (part.ref in refs or spans_of(netlist, part))
    )


def _coarse(netlist: Netlist, part: Part) -> bool:
    return part.value("tolerance") >= COARSE or _holds(netlist, part.revalued("tolerance", COARSE))


def _last(netlist: Netlist, part: Part, name: str, way: int) -> float | None:
    """The last preferred value, going one way, that holds; None when all do."""
    last = part.value(name)
    for value in preferred(last, way):
        if not _holds(netlist, part.revalued(name, value)):
            return last
        last = value
    return None


def preferred(value: float, way: int) -> tuple[float, ...]:
    """Values of E24 beyond `value`, upwards (1) or downwards (-1), the nearest first, to ten times or a tenth."""
    decade = math.floor(math.log10(value))
    every = [float(f"{step}e{exponent}") for exponent in range(decade - 2, decade + 3) for step in E24]
    low, high = (value, FURTHEST * value) if way > 0 else (value / FURTHEST, value)
    beyond = [one for one in every if low <= one <= high and not math.isclose(one, value)]
    return tuple(sorted(beyond, reverse=way < 0))


def _holds(netlist: Netlist, part: Part) -> bool:
    name, _ = VALUE_OF[part.kind]
    if not all(span.least <= part.value(name) <= span.most for span in spans_of(netlist, part)):
        return False
    return not figure_faults(netlist.changed(part))
