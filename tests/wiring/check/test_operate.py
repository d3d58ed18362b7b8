"""The operating-point solver against circuits anybody can work by hand, and Kirchhoff's first law."""

from __future__ import annotations

import pytest

from coincide_firmware.app.pins import PINS
from coincide_wiring.check.operate import GPIO, OUTPUTS, OperatingPoint, State, operating_point
from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Netlist, Part, part
from coincide_wiring.netlist import Build, in_use

IDLE = dict.fromkeys(OUTPUTS, 0)


def cell(volt: float) -> Part:
    return part("B1", "cell", "", "", {"plus": "P", "minus": "N"}, {"voltage_v": volt})


def resistor(ref: str, ohm: float, one: str, other: str) -> Part:
    return part(ref, "resistor", "", "", {"one": one, "other": other}, specs.resistor(ohm))


def solve(*parts: Part) -> OperatingPoint:
    return operating_point(Netlist(parts), State())


def test_a_divider() -> None:
    point = solve(cell(9.0), resistor("R1", 2000.0, "P", "M"), resistor("R2", 1000.0, "M", "N"))
    assert point.between("M", "N") == pytest.approx(3.0, rel=1e-4)
    assert point.ampere["R1"] == pytest.approx(3e-3, rel=1e-4)
    assert point.ampere["B1"] == pytest.approx(3e-3, rel=1e-3)


def test_an_led_conducts_one_way_and_blocks_the_other() -> None:
    lamp = part("D1", "led", "", "", {"anode": "M", "cathode": "N"}, {"forward_v": 2.0})
    lit = solve(cell(5.0), resistor("R1", 300.0, "P", "M"), lamp)
    assert lit.ampere["D1"] == pytest.approx(10e-3, rel=0.01)
    turned = lamp.rewired("anode", "N").rewired("cathode", "M")
    dark = solve(cell(5.0), resistor("R1", 300.0, "P", "M"), turned)
    assert dark.ampere["D1"] == 0.0
    assert dark.between("M", "N") == pytest.approx(5.0, rel=1e-3)


def test_a_zener_clamps() -> None:
    zener = part("D1", "zener", "", "", {"anode": "N", "cathode": "M"}, {"zener_v": 5.1, "forward_v": 0.7})
    point = solve(cell(12.0), resistor("R1", 690.0, "P", "M"), zener)
    assert point.between("M", "N") == pytest.approx(5.1, abs=0.05)
    assert point.ampere["D1.reverse"] == pytest.approx(10e-3, rel=0.01)


def test_a_trimmer_divides_by_its_position() -> None:
    values = {"resistance_ohm": 10e3, "position": 0.3}
    trimmer = part("RV1", "trimmer", "", "", {"one": "P", "wiper": "W", "other": "N"}, values)
    assert solve(cell(10.0), trimmer).between("W", "N") == pytest.approx(3.0, rel=1e-3)


def test_what_floats_has_a_solution_and_two_circuits_do_not_meet() -> None:
    other = part("B2", "cell", "", "", {"plus": "P2", "minus": "N2"}, {"voltage_v": 3.0})
    point = solve(cell(9.0), resistor("R1", 1e3, "P", "N"), other)
    assert point.between("P2", "N2") == pytest.approx(3.0, rel=1e-3)


@pytest.mark.parametrize("gate", ["load", "transimpedance"])
def test_currents_into_every_release_and_button_net_add_up_to_nothing(gate: str) -> None:
    """Kirchhoff: what the pin gives is what the pull-down and the LED take."""
    netlist = in_use(Build(gate=(gate, gate)))
    point = operating_point(
        netlist, State({**IDLE, **dict.fromkeys(("half_a", "full_a", "half_b", "full_b"), 1)})
    )
    for row in PINS[:4]:
        body, down = row[4], {"half": "R13", "full": "R14"}[row[0][:4]]
        series = {"half": "R11", "full": "R12"}[row[0][:4]]
        given = point.ampere[f"U1.{GPIO[row[0]]}"]
        taken = abs(point.ampere[f"{down}{body}"]) + abs(point.ampere[f"{series}{body}"])
        assert given == pytest.approx(taken, rel=1e-3)


def test_both_kinds_of_gate_sensor_answer_in_proportion_to_the_light() -> None:
    for gate, lux in (("load", 36e3), ("transimpedance", 4e3), ("through-lens", 1.2e3)):
        netlist = in_use(Build(gate=(gate, gate)))
        once = operating_point(netlist, State(IDLE, light_lx={"a1": lux})).volt["LIGHT_A1"]
        twice = operating_point(netlist, State(IDLE, light_lx={"a1": 2 * lux})).volt["LIGHT_A1"]
        assert once > 0.2
        assert twice == pytest.approx(2 * once, rel=1e-2)


def test_a_circuit_that_never_settles_says_so() -> None:
    """An oscillator: a comparator that pulls its own input."""
    comparator = part(
        "U9",
        "comparator",
        "",
        "",
        {"plus": "T", "minus": "X", "out": "X", "vcc": "P", "gnd": "N"},
        specs.COMPARATOR,
    )
    with pytest.raises(ArithmeticError, match="oscillates"):
        solve(
            cell(5.0),
            resistor("R1", 1e3, "P", "X"),
            resistor("R2", 1e3, "P", "T"),
            resistor("R3", 1e3, "T", "N"),
            comparator,
        )
