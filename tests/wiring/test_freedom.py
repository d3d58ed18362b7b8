"""How far a value may be moved: what is claimed holds, the next preferred value does not."""

from __future__ import annotations

import pytest

from coincide_wiring.check.values import VALUE_OF
from coincide_wiring.figures.build import figures_of
from coincide_wiring.freedom import E24, FURTHEST, Freedom, freedom, preferred, tight
from coincide_wiring.netlist import Build, in_use
from coincide_wiring.parts import parts_list
from coincide_wiring.sound import faults
from coincide_wiring.sound import holds as quick

EVERYTHING = Build(("wetted", "high-voltage"), ("solenoid", "contact"), ("transimpedance", "load"))
BUILDS = [Build(), EVERYTHING]
CASES = [(build, one) for build in BUILDS for one in freedom(build)]


def holds(build: Build, ref: str, value: float) -> bool:
    netlist = in_use(build)
    part = netlist.part(ref)
    return quick(netlist.changed(part.revalued(VALUE_OF[part.kind][0], value)))


@pytest.mark.parametrize(("build", "one"), CASES, ids=[" ".join(one.refs) for _, one in CASES])
def test_the_ends_hold_and_the_next_value_does_not(build: Build, one: Freedom) -> None:
    for way, end in ((-1, one.least), (1, one.most)):
        if end is None:
            assert all(holds(build, one.refs[0], value) for value in preferred(one.value, way))
            continue
        assert holds(build, one.refs[0], end)
        beyond = next(iter(preferred(end, way)))
        assert not holds(build, one.refs[0], beyond), f"{one.refs[0]} at {beyond:g}"


def solved_too(build: Build, one: Freedom) -> None:
    """What is called free passes the whole check, solved circuits included."""
    netlist = in_use(build)
    part = netlist.part(one.refs[0])
    name, _ = VALUE_OF[part.kind]
    for end in (one.least, one.most):
        if end is not None:
            found = faults(netlist.changed(part.revalued(name, end)))
            assert not found, (part.ref, end, [fault.say for fault in found])


@pytest.mark.parametrize(("build", "one"), CASES[::7], ids=[" ".join(one.refs) for _, one in CASES[::7]])
def test_what_is_called_free_passes_the_check(build: Build, one: Freedom) -> None:
    solved_too(build, one)


@pytest.mark.soak
@pytest.mark.parametrize(("build", "one"), CASES, ids=[" ".join(one.refs) for _, one in CASES])
def test_all_that_is_called_free_passes_the_check(build: Build, one: Freedom) -> None:
    solved_too(build, one)


def test_a_figure_that_leaves_its_limits_is_a_fault_of_the_check() -> None:
    """620 ohm before an isolator's LED: every rule of the netlist passes, the LED's least current does not."""
    netlist = in_use(Build())
    starved = netlist.changed(netlist.part("R12A").revalued("resistance_ohm", 680.0))
    assert "release_led_a" in {one.where for one in faults(starved)}


def test_the_value_that_ohms_law_asks_for_lies_within() -> None:
    """An isolator's LED, by hand: 145 ohm of pin and a pull-down of 4653 ohm are 3.10 V behind 141 ohm; less 1.4 V,
    2.25 mA at the least is 617 ohm at the most, and 620 ohm of 1 % may be 626; a pin's
    12 mA from 3.4 V less 1.0 V, through 20 ohm of pin, 180 ohm at the least."""
    (led,) = [one for build, one in CASES if build == Build() and "R12A" in one.refs]
    assert led.most == 560.0
    assert led.least == 200.0
    assert led.least <= 330.0 <= led.most


@pytest.mark.parametrize("value", [330.0, 1e6, 6.8e-12, 1e-8])
def test_preferred_values_are_those_of_the_series(value: float) -> None:
    up, down = preferred(value, 1), preferred(value, -1)
    assert len(up) == len(down) == len(E24)
    assert up[-1] == pytest.approx(FURTHEST * value)
    assert down[-1] == pytest.approx(value / FURTHEST)
    assert list(up) == sorted(up)
    assert list(down) == sorted(down, reverse=True)


def test_where_five_per_cent_will_not_do_the_list_says_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """No build of today is so tight; one that is must be told. Which are is worked out here part by part."""
    netlist = in_use(EVERYTHING)
    narrow = {
        part.ref
        for part in netlist.of_kind("resistor")
        if not all(one.inside for one in figures_of(netlist.changed(part.revalued("tolerance", 0.05))))
    }
    assert {ref for ref in tight(EVERYTHING) if ref.startswith("R")} == narrow
    monkeypatch.setattr("coincide_wiring.parts.tight", lambda _: frozenset({"R41A1"}))
    lines = {ref: line.substitute for line in parts_list(Build()) for ref in line.refs}
    assert "1 %" in lines["R41A1"]
    assert "leave no room for 5 %" in lines["R41A1"]
    assert "5 % will do" in lines["R12A"]


def test_the_parts_list_says_five_per_cent_only_where_it_will_do() -> None:
    def said(build: Build, ref: str) -> str:
        (line,) = [line for line in parts_list(build) if ref in line.refs]
        return line.substitute

    assert all("5 % will do" in said(Build(), ref) for ref in ("R12A", "R22B", "R45A1", "RN81"))
    assert "5 % will do" in said(EVERYTHING, "R41B1")
    assert "film" in said(EVERYTHING, "C21A")
    assert "white" in said(Build(), "D45")
    assert "5 W" in said(Build(), "R45")
