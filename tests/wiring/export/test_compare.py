"""Computed values against ngspice, a general-purpose program whose device models share nothing with our formulas."""

from __future__ import annotations

from pathlib import Path

import pytest

from coincide_wiring.export.compare import Compared, available, compared
from coincide_wiring.export.spice import deck
from coincide_wiring.netlist import Build, sheets

PAGE = (Path(__file__).parents[3] / "docs" / "spice.md").read_text(encoding="utf-8")
# The high-voltage coupler's latest instant is promised three times as late as SPICE's transistor comes.
LOOSE = {"sync_delay_a"}


@pytest.fixture(scope="module")
def found() -> tuple[Compared, ...]:
    if not available():
        pytest.skip("ngspice is not installed: apt-get install ngspice")
    return compared()


def test_every_value_spice_finds_lies_in_the_stated_range(found: tuple[Compared, ...]) -> None:
    assert [one.key for one in found if not one.inside] == []
    assert len(found) >= 16


def test_no_stated_range_is_narrower_than_spices(found: tuple[Compared, ...]) -> None:
    assert [(one.key, one.sheet) for one in found if not one.covered] == []


def test_a_value_that_is_no_time_agrees_with_spice_to_a_fifth(found: tuple[Compared, ...]) -> None:
    assert all(abs(one.deviation) < 0.2 for one in found if one.key not in LOOSE)


def test_the_page_holds_what_spice_finds(found: tuple[Compared, ...]) -> None:
    """To five per cent, for versions of the program differ."""
    rows = [line.split("|") for line in PAGE.splitlines() if line.startswith("| ") and "_" in line]
    shown = {(row[1].strip(), row[2].strip()): row for row in rows}
    for one in found:
        row = shown[one.key, one.sheet]
        assert f"{one.value:.3g} ({one.least:.3g} to {one.most:.3g})" in row[3]
        assert float(row[4]) == pytest.approx(one.spice, rel=0.05)


def test_every_circuit_has_a_deck_that_names_each_of_its_parts() -> None:
    for sheet in sheets(
        Build(("wetted", "high-voltage"), ("solenoid", "contact"), ("load", "transimpedance"))
    ):
        text = deck(sheet.title, sheet.parts)
        assert text.endswith(".end\n")
        assert all(part.ref.lower() in text.lower() for part in sheet.parts)
