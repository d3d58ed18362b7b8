"""Every resistor and capacitor ten times too large or too small is found: by its span, or by a figure that leaves
its range."""

from __future__ import annotations

import re

import pytest

from coincide_wiring.check.values import VALUE_OF, value_faults
from coincide_wiring.circuits.model import Netlist, Part
from coincide_wiring.circuits.specs import BOARD
from coincide_wiring.netlist import Build, in_use
from coincide_wiring.sound import faults, holds
from tests.wiring.check.test_rules import BUILDS

OTHER = Build(("wetted", "high-voltage"), ("solenoid", "contact"), ("load", "through-lens"))


def mutants(build: Build, *, every: bool) -> list[tuple[Netlist, Part, float]]:
    """The netlist with one value ten times off, each part or one of each role (body A, the first sensor)."""
    netlist = in_use(build)
    found = []
    for part in netlist.parts:
        if part.kind not in VALUE_OF or not (every or not re.search(r"B$|A2$|B\d$", part.ref)):
            continue
        name, _ = VALUE_OF[part.kind]
        found += [
            (netlist.changed(part.revalued(name, part.value(name) * times)), part, times)
            for times in (10.0, 0.1)
        ]
    return found


def caught(netlist: Netlist) -> bool:
    return not holds(netlist) or bool(faults(netlist))


def survivors(build: Build, *, every: bool) -> list[tuple[str, float]]:
    return [(part.ref, times) for netlist, part, times in mutants(build, every=every) if not caught(netlist)]


@pytest.mark.parametrize("build", BUILDS, ids=str)
def test_every_value_that_is_drawn_lies_in_its_span(build: Build) -> None:
    assert value_faults(in_use(build)) == []


def test_no_slip_of_a_decade_passes() -> None:
    assert len(mutants(Build(), every=False)) >= 80
    assert survivors(Build(), every=False) == []


@pytest.mark.soak
@pytest.mark.parametrize("build", [Build(), OTHER], ids=["plain", "other"])
def test_nor_on_any_part(build: Build) -> None:
    assert survivors(build, every=True) == []


def test_the_pull_downs_have_one_limit() -> None:
    """8.2 kOhm: a pin that pushes 120 uA (RP2350, a latched input) makes 0.98 V on it, and the LED wants 1.0 V."""
    assert BOARD["pulldown_ohm_max"] * BOARD["leak_a"] == pytest.approx(0.984)
    netlist = in_use(Build())
    for ohm, sound in ((8200.0, True), (8300.0, False)):
        changed = netlist.changed(netlist.part("R13A").revalued("resistance_ohm", ohm))
        assert (value_faults(changed) == []) == sound
