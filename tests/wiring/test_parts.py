"""The parts list counts what the netlist holds, names no brand, and says why."""

from __future__ import annotations

import pytest

from coincide_firmware.app.pin_words import PURPOSES
from coincide_firmware.app.pins import PINS
from coincide_wiring.circuits.pin_table import as_markdown, pin_rows
from coincide_wiring.netlist import Build, sheets
from coincide_wiring.parts import NOT_BOUGHT, parts_list
from tests.wiring.check.test_rules import BUILDS


@pytest.mark.parametrize("build", BUILDS, ids=str)
def test_every_part_is_listed_once(build: Build) -> None:
    listed = [ref for line in parts_list(build) for ref in line.refs]
    wanted = [one.ref for sheet in sheets(build) for one in sheet.parts if one.kind not in NOT_BOUGHT]
    assert sorted(listed) == sorted(wanted)
    assert all(line.quantity == len(line.refs) for line in parts_list(build))


@pytest.mark.parametrize("build", BUILDS, ids=str)
def test_every_line_has_a_reason_and_a_substitute(build: Build) -> None:
    for line in parts_list(build):
        assert line.substitute
        assert all(line.why)


def test_one_sort_is_one_rating() -> None:
    """Parts that share a line share their values, or the line would mislead."""
    for build in BUILDS:
        by_sort: dict[str, list[dict[str, float]]] = {}
        for sheet in sheets(build):
            for one in sheet.parts:
                by_sort.setdefault(one.sort, []).append(dict(one.values))
        assert all(values == values_of[0] for values_of in by_sort.values() for values in values_of)


def test_the_safety_parts_are_counted_right() -> None:
    lines = {line.sort.split(",")[0]: line.quantity for line in parts_list(Build())}
    assert lines["Photorelay"] == 4
    assert lines["Optocoupler"] == 2
    assert lines["Mounting plate"] == 2


def test_the_pin_table_is_the_firmwares() -> None:
    assert [(row.name, row.gpio, row.direction, row.active, row.body) for row in pin_rows()] == list(PINS)
    assert list(PURPOSES) == [row[0] for row in PINS]
    for row in pin_rows():
        assert f"| {row.gpio} | `{row.name}` |" in as_markdown()
