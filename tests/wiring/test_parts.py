"""The parts list counts what the netlist holds, names no brand, and says why."""

from __future__ import annotations

import csv
import io

import pytest

from coincide_firmware.app.pin_words import PURPOSES
from coincide_firmware.app.pins import PINS
from coincide_wiring.circuits.leads import PLUG_RELEASE, PLUG_SYNC, leads
from coincide_wiring.circuits.packages import package_of
from coincide_wiring.circuits.pin_table import as_markdown, pin_rows
from coincide_wiring.netlist import Build, in_use, sheets
from coincide_wiring.parts import NOT_BOUGHT, as_csv, extras, parts_list, stage_of
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


@pytest.mark.parametrize("build", BUILDS, ids=str)
def test_every_part_of_the_netlist_comes_in_a_case_whose_terminals_are_its_pins(build: Build) -> None:
    listed = {ref: line for line in parts_list(build) for ref in line.refs}
    for sheet in sheets(build):
        for one in sheet.parts:
            package = package_of(one)
            assert package.pins() == set(one.pins), one.ref
            if one.kind not in NOT_BOUGHT:
                assert listed[one.ref].package == package.name
                assert listed[one.ref].pins == package.words()
                assert stage_of(sheet.name) in listed[one.ref].stages


def test_the_terminals_are_those_of_the_trade() -> None:
    """Common practice, from memory: DIP-4 couplers, the dual comparator, the single amplifier, the 595, a panel
    jack."""
    by_kind = {one.kind: package_of(one).pads for sheet in sheets(Build()) for one in sheet.parts}
    assert list(by_kind["optocoupler"].values()) == ["anode", "cathode", "emitter", "collector"]
    comparator, amplifier, register = (by_kind[kind] for kind in ("comparator", "opamp", "shift_register"))
    assert [comparator[pad] for pad in "12348"] == ["out", "minus", "plus", "gnd", "vcc"]
    assert [amplifier[pad] for pad in "23467"] == ["minus", "plus", "gnd", "out", "vcc"]
    assert [register[str(pad)] for pad in (8, 9, 10, 11, 12, 13, 14, 15, 16)] == (
        ["gnd", "next", "clear", "clock", "latch", "enable", "data", "q[1]", "vcc"]
    )
    assert by_kind["jack_release"] == {"tip": "full", "ring": "half", "sleeve": "common"}


@pytest.mark.parametrize("build", BUILDS, ids=str)
def test_every_lead_ends_on_nets_of_the_build_and_every_socket_has_its_lead(build: Build) -> None:
    netlist = in_use(build)
    nets, found = netlist.nets(), leads(netlist)
    for lead in found:
        assert set(lead.contacts.values()) <= set(nets), lead.name
        assert len(set(lead.contacts.values())) == len(lead.contacts)
    for body in "AB":
        for kind, plug in (("jack_release", PLUG_RELEASE), ("jack_sync", PLUG_SYNC)):
            (socket,) = [one for one in netlist.of_kind(kind) if one.ref.endswith(body)]
            pads = {pad: socket.pins[pin] for pad, pin in package_of(socket).pads.items()}
            (lead,) = [one for one in found if one.plug == plug and one.name.endswith(f"body {body}")]
            assert set(lead.contacts.items()) <= set(pads.items())
    (handle,) = netlist.of_kind("button2")
    (lead,) = [one for one in found if one.name.startswith("Release handle")]
    assert lead.contacts == {pad: handle.pins[pin] for pad, pin in package_of(handle).pads.items()}


def test_no_plug_fits_a_socket_where_it_does_harm() -> None:
    """One kind of plug for one kind of net: the releases', the handle's, the sensors' and the row's are all
    different."""
    by_plug: dict[str, set[str]] = {}
    for lead in leads(in_use(Build())):
        by_plug.setdefault(lead.plug, set()).add(lead.name.rsplit(" ", 1)[0].removesuffix(", body"))
    assert all(len(names) == 1 for names in by_plug.values()), by_plug


def test_the_table_to_order_from_holds_every_line() -> None:
    rows = list(csv.DictReader(io.StringIO(as_csv(Build()))))
    lines, further = parts_list(Build()), extras(Build())
    assert [row["part"] for row in rows] == [one.sort for one in lines] + [one.name for one in further]
    assert all(row["package"] and row["terminals"] for row in rows[: len(lines)])
    third = list(csv.DictReader(io.StringIO(as_csv(Build(), 3))))
    assert {"K11A", "R13A", "J11A"} <= {ref for row in third for ref in row["references"].split()}
    assert not any("U21A" in row["references"] for row in third)
    assert sum(one.quantity for at in range(1, 13) for one in parts_list(Build(), at)) == (
        sum(one.quantity for one in lines)
    )


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
