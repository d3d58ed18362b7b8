"""Computed values against ngspice, a general-purpose program whose device models share nothing with our formulas."""

from __future__ import annotations

from pathlib import Path

import pytest

from coincide_wiring.export.compare import Compared, available, compared
from coincide_wiring.export.experiments import EXPERIMENTS, why_not_run
from coincide_wiring.export.spice import deck
from coincide_wiring.figures.build import figures
from coincide_wiring.netlist import Build, sheets

PAGE = (Path(__file__).parents[3] / "docs" / "spice.md").read_text(encoding="utf-8")
# A coupler's delay lies in a wide promise, and a time from its middle is later than a transistor's of the same charge.
LOOSE = {"sync_delay_a"}


@pytest.fixture(scope="module")
def found() -> tuple[Compared, ...]:
    if not available():
        pytest.skip("ngspice is not installed: apt-get install ngspice")
    return compared()


def test_every_value_spice_finds_lies_in_the_stated_range(found: tuple[Compared, ...]) -> None:
    assert [one.key for one in found if not one.inside] == []


def test_no_stated_range_is_narrower_than_spices(found: tuple[Compared, ...]) -> None:
    assert [(one.key, one.sheet) for one in found if not one.covered] == []


def test_a_value_that_is_no_time_agrees_with_spice_to_a_tenth(found: tuple[Compared, ...]) -> None:
    assert all(abs(one.deviation) < 0.1 for one in found if one.key not in LOOSE)


def test_every_computed_value_is_run_or_is_named_as_no_circuits() -> None:
    """Of body A and its first sensor, whichever circuits were chosen; B's are the same."""
    run = {(one.key, one.build) for one in EXPERIMENTS}
    builds = {build for _, build in run}
    assert builds == {Build(), *(build for build in builds if build != Build())}
    for build in builds:
        for key in (one.key for one in figures(build)):
            if key.endswith(("_b", "_a2", "_b1", "_b2")):
                continue
            ran = any(key == other for other, _ in run)
            assert ran != (why_not_run(key) is not None), key
    # And each circuit's own values are run on it.
    for build, sheet in (
        (Build(sync=("wetted", "cell")), "sync_wetted_a"),
        (Build(sync=("high-voltage", "cell")), "sync_high_voltage_a"),
        (Build(gate=("through-lens", "through-lens")), "gate_through_lens_a1"),
        (Build(gate=("load", "load")), "gate_load_a1"),
    ):
        own = {one.key for one in EXPERIMENTS if one.sheet == sheet}
        part = "sync_" if sheet.startswith("sync") else "gate_"
        wanted = {
            one.key
            for one in figures(build)
            if one.key.startswith(part) and one.key.endswith(("_a", "_a1")) and why_not_run(one.key) is None
        }
        # A saturated collector and its delay are the same on the wetted circuit as on the plain one.
        assert wanted - own <= ({"sync_saturation_a", "sync_delay_a"} if "wetted" in sheet else set())


def test_the_page_holds_what_spice_finds(found: tuple[Compared, ...]) -> None:
    """To five per cent, for versions of the program differ."""
    rows = [line.split("|") for line in PAGE.splitlines() if line.startswith("| ") and "%" in line]
    shown = {(row[1].strip(), row[2].strip()): row for row in rows}
    assert set(shown) == {(one.key, one.circuit) for one in found}
    for one in found:
        row = shown[one.key, one.circuit]
        assert f"{one.value:.3g} ({one.least:.3g} to {one.most:.3g})" in row[3]
        assert float(row[4]) == pytest.approx(one.spice, rel=0.05)


def test_the_page_names_the_largest_deviations(found: tuple[Compared, ...]) -> None:
    largest = max(found, key=lambda one: abs(one.deviation))
    second = max((one for one in found if one.key not in LOOSE), key=lambda one: abs(one.deviation))
    assert largest.key in LOOSE
    assert f"`{largest.key}` on `{largest.circuit}` ({largest.deviation:+.0%})" in PAGE
    assert f"`{second.key}` on `{second.circuit}`" in PAGE
    assert f"{len(found)} runs" in PAGE


def test_every_circuit_has_a_deck_that_names_each_of_its_parts() -> None:
    for sheet in sheets(
        Build(("wetted", "high-voltage"), ("solenoid", "contact"), ("load", "transimpedance"))
    ):
        text = deck(sheet.title, sheet.parts)
        assert text.endswith(".end\n")
        assert all(part.ref.lower() in text.lower() for part in sheet.parts)
