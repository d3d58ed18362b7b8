"""Computed values stay inside their limits in every corner, agree with the solved circuit, and tell time."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from coincide.session.rules import EdgeRules
from coincide_firmware.app.messages import REQUESTS
from coincide_firmware.app.pins import LAMPS
from coincide_wiring.check.behaviour import charged_netlist
from coincide_wiring.check.operate import OUTPUTS, State, operating_point
from coincide_wiring.circuits import specs
from coincide_wiring.figures import controls as figures_controls
from coincide_wiring.figures import formulas
from coincide_wiring.figures import gate as figures_gate
from coincide_wiring.figures import release as figures_release
from coincide_wiring.figures import solenoid as figures_solenoid
from coincide_wiring.figures import sync as figures_sync
from coincide_wiring.figures.build import figures, timing_terms
from coincide_wiring.figures.figure import Figure, Span, sweep
from coincide_wiring.figures.gate import exposure_error_s, lamp_error_s
from coincide_wiring.figures.sync import sync_figures
from coincide_wiring.netlist import Build, in_use
from tests.wiring.check.test_rules import BUILDS

IDLE = dict.fromkeys(OUTPUTS, 0)
ON = frozenset({"S62", "S51A", "S51B"})


def figure(build: Build, key: str) -> Figure:
    (found,) = [one for one in figures(build) if one.key == key]
    return found


@pytest.mark.parametrize("build", BUILDS, ids=str)
def test_no_corner_leaves_the_limits(build: Build) -> None:
    outside = [(one.key, one.least, one.most, one.limits) for one in figures(build) if not one.inside]
    assert outside == []
    assert all(one.margin >= 1 for one in figures(build))


@pytest.mark.parametrize("build", BUILDS, ids=str)
def test_values_lie_between_their_corners_and_keys_are_unique(build: Build) -> None:
    found = figures(build)
    assert all(one.least <= one.value <= one.most and one.corners >= 2 for one in found)
    assert len({one.key for one in found}) == len(found)


def test_every_part_a_figure_names_is_in_the_netlist() -> None:
    for build in BUILDS:
        refs = {one.ref for one in in_use(build).parts}
        assert {ref for one in figures(build) for ref in one.parts} <= refs


def test_corners_hold_against_random_parts_inside_their_tolerance() -> None:
    """Monte Carlo over the sync LED current: nothing drawn between the extremes falls outside the corners."""
    rng = np.random.default_rng(7)
    claimed = figure(Build(), "sync_wetting_a")
    cell, opto, diode = specs.CELL_4V5, specs.OPTOCOUPLER, specs.SIGNAL_DIODE
    drawn = (
        rng.uniform(cell["voltage_v_min"], cell["voltage_v_max"], 5000)
        - rng.uniform(opto["forward_v_min"], opto["forward_v_max"], 5000)
        - rng.uniform(diode["forward_v_min"], diode["forward_v_max"], 5000)
    ) / rng.uniform(470 * 0.99, 470 * 1.01, 5000)
    assert claimed.least <= drawn.min()
    assert drawn.max() <= claimed.most


@pytest.mark.parametrize("build", BUILDS[::5], ids=str)
def test_nothing_between_the_corners_lies_outside_them(build: Build, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every formula that is swept, drawn 200 times anywhere inside its spans: the corners hold it."""
    rng = np.random.default_rng(23)
    swept = []

    def drawn(formula: Callable[..., float], **spans: Span) -> tuple[float, float, float, int]:
        value, least, most, corners = sweep(formula, **spans)
        inside = [
            formula(**{name: float(rng.uniform(low, high)) for name, (_, low, high) in spans.items()})
            for _ in range(200)
        ]
        slack = 1e-12 * max(abs(least), abs(most))
        assert least - slack <= min(inside)
        assert max(inside) <= most + slack
        swept.append(corners)
        return value, least, most, corners

    for module in (figures_release, figures_controls, figures_solenoid, figures_gate, figures_sync):
        monkeypatch.setattr(module, "sweep", drawn)
    figures(build)
    assert len(swept) > 30


def test_a_worse_part_leaves_the_limits() -> None:
    """The limits are worth something: plausible wrong values are refused."""
    netlist = in_use(Build())
    weak = netlist.changed(netlist.part("U21A").revalued("ratio_min", 0.2))
    assert not all(one.inside for one in sync_figures(weak, "A"))
    starved = netlist.changed(netlist.part("R21A").revalued("resistance_ohm", 2200.0))
    assert not all(one.inside for one in sync_figures(starved, "A"))
    held = in_use(Build(sync=("wetted", "wetted")))
    latching = held.changed(held.part("R23A").revalued("resistance_ohm", 22e3))
    assert any(one.key == "sync_steady_a" and not one.inside for one in sync_figures(latching, "A"))


@pytest.mark.parametrize(("sync", "tolerance"), [("cell", 0.02), ("high-voltage", 0.15)])
def test_the_formula_and_the_solved_circuit_agree_on_the_sync_current(sync: str, tolerance: float) -> None:
    build = Build(sync=(sync, sync))
    solved = operating_point(in_use(build), State(IDLE, contacts=frozenset("A"))).ampere["U21A.led"]
    assert solved == pytest.approx(figure(build, "sync_wetting_a").value, rel=tolerance)


def test_the_formula_and_the_solved_circuit_agree_on_outputs_lights_and_coil() -> None:
    build = Build(release=("solenoid", "solenoid"))
    point = operating_point(charged_netlist(in_use(build)), State({**IDLE, "full_a": 1, "led_ok": 1}, ON))
    assert point.ampere["K12A.led"] == pytest.approx(figure(build, "release_led_a").value, rel=0.03)
    assert point.ampere["D70"] == pytest.approx(figure(build, "led_blue").value, rel=0.03)
    assert abs(point.ampere["L51A"]) == pytest.approx(figure(build, "solenoid_current_a").value, rel=0.03)
    light = operating_point(in_use(build), State(IDLE, light_lx={"a1": specs.GATE_LX["transimpedance"][0]}))
    assert light.volt["LIGHT_A1"] == pytest.approx(figure(build, "gate_signal_a1").value, rel=0.03)


def test_the_corner_sweep_counts_every_combination() -> None:
    value, least, most, corners = sweep(lambda a, b: a / b, a=(10.0, 9.0, 11.0), b=(2.0, 1.0, 4.0))
    assert (value, least, most, corners) == (5.0, 9 / 4, 11.0, 4)


def test_timing_terms_are_small_beside_a_millisecond_and_shrink_with_a_zero_check() -> None:
    before = {one.name: one.u_s for one in timing_terms(Build(), zero_checked=False, how="sync")}
    after = {one.name: one.u_s for one in timing_terms(Build(), zero_checked=True, how="sync")}
    assert set(before) == {
        "release isolator of body A",
        "release isolator of body B",
        "sync optocoupler of body A",
        "sync optocoupler of body B",
    }
    assert all(0 < after[name] < before[name] < 1e-3 for name in before)
    assert before["sync optocoupler of body A"] < 10e-6
    gate = timing_terms(Build(), zero_checked=True, how="gate")
    assert {one.name for one in gate if one.enters == "skew"} == {
        f"gate sensor {c}" for c in ("a1", "a2", "b1", "b2")
    }
    # A lamp 2 mm beside the axis of a slit 3 mm behind the curtain is most of it; the circuit alone adds 1 us.
    assert all(one.u_s < 30e-6 for one in gate if one.enters == "skew")
    assert all(one.u_s - lamp_error_s() / math.sqrt(3) < 1e-6 for one in gate if one.enters == "skew")


@pytest.mark.parametrize("aside_m", [-2e-3, 0.0, 2e-3])
@pytest.mark.parametrize("threshold", [0.45, 0.5, 0.55])
def test_the_promised_uncertainty_covers_traced_light(aside_m: float, threshold: float) -> None:
    """Rays from a strip of lamp through a slit, cut by two curtains at unlike distances: the comparator's midpoint lies
    within what is promised of the midpoint of the shadowless exposure. Rays share no formula with the budget."""
    rng = np.random.default_rng(41)
    u_s = next(one.u_s for one in timing_terms(Build(), True, "gate") if one.name == "gate sensor a1")
    slit_m, lamp_m = rng.uniform(-0.15e-3, 0.15e-3, 4000), aside_m + rng.uniform(-5e-3, 5e-3, 4000)
    speed, exposure_s, distance_m = 3.0, 2.0**-9, 0.05
    # Where a ray from the lamp to the slit crosses a curtain's plane, and when that curtain's edge gets there.
    first_s, second_s = (
        (slit_m + (lamp_m - slit_m) * gap_m / distance_m) / speed + late_s
        for gap_m, late_s in ((3e-3, 0.0), (2e-3, exposure_s))
    )
    opens, closes = np.quantile(first_s, threshold), np.quantile(second_s, 1 - threshold)
    assert abs((opens + closes) / 2 - exposure_s / 2) <= math.sqrt(3) * u_s
    assert abs((closes - opens) - exposure_s) <= exposure_error_s()


def test_a_wetted_contact_is_seen_longer_than_a_flick() -> None:
    """The capacitor's pulse ends by itself; it must outlast what the session takes for a mere flick."""
    pulse = figure(Build(sync=("wetted", "wetted")), "sync_pulse_b")
    assert pulse.least > 2 * EdgeRules().shortest_closed_s


def test_the_lamp_row_has_as_many_lamps_as_the_firmware_lights_and_the_rail_stands_no_more() -> None:
    rows = in_use(Build()).of_kind("led_array")
    assert sum(one.value("lines") for one in rows) == LAMPS
    assert next(field for field in REQUESTS["lamps"] if field[0] == "lamps")[2] == LAMPS
    rail = figure(Build(), "rail")
    assert rail.inside
    # A row twice as long would overload it when all light by chance, so the firmware need not offer one.
    assert rail.most + LAMPS * figure(Build(), "lamp").most > specs.BOARD["rail_max_a"]


def test_the_isolators_rectangle_is_what_its_datasheet_promises() -> None:
    timing = figure(Build(), "release_led_a").timing
    assert timing is not None
    relay = specs.PHOTORELAY
    assert timing.delay_s - timing.half_width_s == pytest.approx(relay["on_s_min"])
    assert timing.delay_s + timing.half_width_s == pytest.approx(relay["on_s_max"])


def test_timing_terms_name_the_signal_and_the_body_of_the_pin_table() -> None:
    terms = timing_terms(Build(("wetted", "cell"), ("solenoid", "contact")), False, "gate")
    assert {(one.signal, one.body, one.enters) for one in terms} == {
        ("full_a", "A", "lag"),
        ("full_b", "B", "lag"),
        ("full_a", "A", "prediction"),
        ("gate_a1", "A", "skew"),
        ("gate_a2", "A", "skew"),
        ("gate_b1", "B", "skew"),
        ("gate_b2", "B", "skew"),
    }
    assert all(one.delay_s > 0 for one in terms)


def test_timing_terms_refuse_an_unknown_source() -> None:
    with pytest.raises(ValueError, match="'sync' or 'gate'"):
        timing_terms(Build(), True, "ear")


def test_a_coil_drops_its_plunger_sooner_against_a_higher_clamp() -> None:
    slow = formulas.flyback_decay_s(0.04, 24.0, 0.5, 0.9)
    fast = formulas.flyback_decay_s(0.04, 24.0, 0.5, 24.9)
    assert fast < slow / 5
