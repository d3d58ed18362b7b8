"""What leaves in open formats holds every part and every joint, and nothing else."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

import pytest

from coincide.errors import BadInput
from coincide_wiring.circuits.model import NOT_CONNECTED
from coincide_wiring.export.files import write
from coincide_wiring.export.netlists import as_kicad, nets_csv, parts_csv
from coincide_wiring.netlist import Build, in_use

NETLIST = in_use(Build(("wetted", "high-voltage"), ("solenoid", "contact")))
JOINTS = {
    (net, ref, pin)
    for net, pins in NETLIST.nets().items()
    for ref, pin in pins
    if not net.startswith(NOT_CONNECTED)
}


def parsed(text: str) -> list[Any]:
    """An s-expression as nested lists; a reader of ten lines of its own."""
    stack: list[list[Any]] = [[]]
    for word in re.findall(r'"(?:\\.|[^"\\])*"|[()]|[^\s()"]+', text):
        if word == "(":
            stack.append([])
        elif word == ")":
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(word.strip('"'))
    (only,) = stack[0]
    found: list[Any] = only
    return found


def test_the_s_expressions_hold_every_part_and_joint() -> None:
    tree = parsed(as_kicad(NETLIST))
    assert tree[0] == "export"
    sections = {part[0]: part[1:] for part in tree[1:] if isinstance(part, list)}
    refs = {comp[1][1] for comp in sections["components"]}
    assert refs == {one.ref for one in NETLIST.parts}
    joints = {(net[2][1], found[1][1], found[3][1]) for net in sections["nets"] for found in net[3:]}
    assert joints == JOINTS
    pads = {(found[1][1], found[2][1], found[3][1]) for net in sections["nets"] for found in net[3:]}
    # By hand from the cases: a relay's LED is 1 and 2, a comparator's ground 4 and, for its idle half, 5.
    assert {
        ("K11A", "1", "anode"),
        ("K11A", "4", "out2"),
        ("U41A1", "4", "gnd"),
        ("U41A1", "5", "gnd"),
    } <= pads
    assert len({(ref, pad) for ref, pad, _ in pads}) == len(pads)


def test_the_tables_hold_them_too() -> None:
    nets = list(csv.reader(io.StringIO(nets_csv(NETLIST))))
    assert nets[0] == ["net", "reference", "pin"]
    assert {tuple(row) for row in nets[1:]} == JOINTS
    parts = list(csv.DictReader(io.StringIO(parts_csv(NETLIST))))
    assert [row["reference"] for row in parts] == [one.ref for one in NETLIST.parts]
    assert all(row["part"] and row["why"] for row in parts)


def test_the_files_are_written_and_a_file_in_the_way_is_told(tmp_path: Path) -> None:
    written = write(Build(), tmp_path / "nets")
    assert {"coincide.net", "parts.csv", "nets.csv", "release_a.cir"} <= {one.name for one in written}
    (tmp_path / "taken").write_text("")
    with pytest.raises(BadInput, match="cannot be made"):
        write(Build(), tmp_path / "taken")
