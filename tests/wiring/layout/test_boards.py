"""A board is its circuit and no other; the judge finds what a slip of the iron would do; the prints are to scale."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from click.testing import CliRunner
from PIL import Image

from coincide.cli.wiring import command
from coincide.errors import BadInput
from coincide_firmware.app.pins import LAMPS
from coincide_wiring.circuits.packages import package_of
from coincide_wiring.layout.check import copper, creepage_mm, faults
from coincide_wiring.layout.draw import as_pdf
from coincide_wiring.layout.enclosure import openings, wall_faults
from coincide_wiring.layout.files import boards_to_draw
from coincide_wiring.layout.generate import beyond, board_names, board_sheet, layout_of
from coincide_wiring.layout.model import PITCH_MM, Hole, Layout, hole_name
from coincide_wiring.netlist import Build, in_use, sheets
from coincide_wiring.parts import SUNDRIES, stage_of

PLAIN = Build()
OTHER = Build(("high-voltage", "wetted"), ("solenoid", "contact"), ("load", "through-lens"))
QUICK = [
    (PLAIN, "release_a"),
    (PLAIN, "sync_cell_a"),
    (OTHER, "sync_high_voltage_a"),
    (OTHER, "sync_wetted_b"),
]
# Boards without isolators.
OF_ONE_SIDE = [(PLAIN, "lights"), (PLAIN, "lamp_row"), (PLAIN, "lamp_cable")]
AMPLIFIER = (PLAIN, "gate_transimpedance_a1")
SLOW = [
    (build, name)
    for build in (PLAIN, OTHER)
    for name in board_names(build)
    if (build, name) not in [*QUICK, *OF_ONE_SIDE, AMPLIFIER]
]


def judged(build: Build, name: str, layout: Layout) -> tuple[str, ...]:
    return faults(layout, board_sheet(build, name), beyond(build, name))


@pytest.fixture(scope="module")
def made() -> dict[str, Layout]:
    return {name: layout_of(build, name) for build, name in [*QUICK, *OF_ONE_SIDE, AMPLIFIER]}


@pytest.mark.parametrize(("build", "name"), [*QUICK, *OF_ONE_SIDE, AMPLIFIER])
def test_a_board_is_its_circuit_and_no_other(made: dict[str, Layout], build: Build, name: str) -> None:
    assert judged(build, name, made[name]) == ()


def test_the_amplifiers_input_is_short_and_has_no_wire_across_the_board(made: dict[str, Layout]) -> None:
    """An aerial: its pads lie within 20 mm, and bare wire alone joins them, 40 mm of it at the most."""
    layout = made[AMPLIFIER[1]]
    sheet = board_sheet(*AMPLIFIER)
    pads = {
        hole
        for one in layout.placed
        for pad, hole in one.pads.items()
        if not one.off_board
        and sheet.part(one.ref).pins.get(package_of(sheet.part(one.ref)).pads[pad]) == "SUM_A1"
    }
    assert len(pads) == 4
    assert max(math.dist(one, other) for one in pads for other in pads) * PITCH_MM < 20
    board = copper(layout)
    (piece,) = {board.piece_at(hole) for hole in pads}
    assert not [link for link in layout.links if board.piece_at(link[0]) == piece]
    runs = [run for run in layout.runs if board.piece_at(run[0]) == piece]
    assert sum(len(run) - 1 for run in runs) * PITCH_MM < 40


def test_the_lamps_stand_in_line_at_one_pitch_in_the_order_of_the_registers(made: dict[str, Layout]) -> None:
    """From the first register's first output through its resistor to the first lamp, and so on, by copper alone."""
    layout = made["lamp_row"]
    sheet, board = board_sheet(PLAIN, "lamp_row"), copper(made["lamp_row"])

    def hole(ref: str, pin: str) -> Hole:
        (one,) = [one for one in layout.placed if one.ref == ref]
        (pad,) = [pad for pad, name in package_of(sheet.part(ref)).pads.items() if name == pin]
        return one.pads[pad]

    lamps = []
    for stage in range(1, 5):
        for line in range(1, 9):
            assert board.piece_at(hole(f"U8{stage}", f"q[{line}]")) == board.piece_at(
                hole(f"RN8{stage}", f"one[{line}]")
            )
            lamp = hole(f"LB8{stage}", f"anodes[{line}]")
            assert board.piece_at(hole(f"RN8{stage}", f"other[{line}]")) == board.piece_at(lamp)
            lamps.append(lamp)
    assert len(lamps) == LAMPS
    assert {row for _, row in lamps} == {lamps[0][1]}
    assert [column - lamps[0][0] for column, _ in lamps] == list(range(LAMPS))


def test_every_line_of_the_rows_bundles_is_the_netlists(made: dict[str, Layout]) -> None:
    """What is unbundled for the board is joined again: the netlist's own pins and nets."""
    (whole,) = [one for one in sheets(PLAIN) if one.name == "lamp_row"]
    boards = [board_sheet(PLAIN, name) for name in ("lamp_row", "lamp_cable")]
    parts = {one.ref: one for sheet in boards for one in sheet.parts}
    assert set(parts) == {one.ref for one in whole.parts}
    for one in whole.parts:
        joined: dict[str, set[str]] = {}
        for pin, net in parts[one.ref].pins.items():
            joined.setdefault(re.sub(r"\[\d\]$", "", pin), set()).add(re.sub(r"\.\d$", "[8]", net))
        assert joined == {pin: {net} for pin, net in one.pins.items()}


@pytest.mark.parametrize("stage", [3, 4, 5, 7, 12])
def test_each_board_fits_the_pad_board_that_is_bought_for_it(made: dict[str, Layout], stage: int) -> None:
    bought = [
        sorted(float(edge) for edge in found.groups())
        for at, _, name, _ in SUNDRIES
        if at in (stage, 3) and (found := re.search(r"Pad board.* (\d+) x (\d+) mm", name))
    ]
    for name, layout in made.items():
        if stage_of(name) == stage:
            size = sorted(layout.size_mm)
            assert any(size[0] <= board[0] and size[1] <= board[1] for board in bought), (name, size)


@pytest.mark.soak
@pytest.mark.parametrize(("build", "name"), SLOW)
def test_so_is_every_other(build: Build, name: str) -> None:
    layout = layout_of(build, name)
    assert judged(build, name, layout) == ()
    assert all(way >= 4.0 for way in creepage_mm(layout, copper(layout), board_sheet(build, name)).values())


@pytest.mark.parametrize(("build", "name"), QUICK)
def test_what_must_be_apart_is_apart_by_bare_board(made: dict[str, Layout], build: Build, name: str) -> None:
    ways = creepage_mm(made[name], copper(made[name]), board_sheet(build, name))
    assert ways
    for (one, other), way_mm in ways.items():
        assert way_mm >= (5.0 if one // 10 != other // 10 else 4.0)


def test_pads_left_undrilled_are_found(made: dict[str, Layout]) -> None:
    """By hand: with idle pads between, three gaps of 0.54 mm are left of 5.6 mm."""
    layout = replace(made["sync_cell_a"], drilled=frozenset())
    (way_mm,) = creepage_mm(layout, copper(layout), board_sheet(PLAIN, "sync_cell_a")).values()
    assert way_mm == pytest.approx(3 * 0.54, abs=0.2)


@pytest.mark.parametrize(("build", "name"), [*QUICK, (PLAIN, "lights")])
def test_every_wire_left_out_is_found(made: dict[str, Layout], build: Build, name: str) -> None:
    layout = made[name]
    for at in range(len(layout.runs)):
        broken = replace(layout, runs=layout.runs[:at] + layout.runs[at + 1 :])
        assert any("not joined" in one for one in judged(build, name, broken)), layout.runs[at]
    for at in range(len(layout.links)):
        broken = replace(layout, links=layout.links[:at] + layout.links[at + 1 :])
        assert any("not joined" in one for one in judged(build, name, broken))


def test_a_bridge_between_two_nets_is_found(made: dict[str, Layout]) -> None:
    """Every pair of used neighbours that nothing joins yet, soldered together."""
    layout = made["lights"]
    used = {hole for run in layout.runs for hole in run}
    used |= {hole for one in layout.placed for hole in one.pads.values()}
    before = copper(layout)
    pairs = [((x, y), (x + dx, y + dy)) for x, y in sorted(used) for dx, dy in ((1, 0), (0, 1))]
    bridges = [
        (one, other)
        for one, other in pairs
        if other in used and before.piece_at(one) != before.piece_at(other)
    ]
    assert len(bridges) > 20
    for bridge in bridges[::3]:
        found = judged(PLAIN, "lights", replace(layout, runs=(*layout.runs, bridge)))
        assert any("joined too" in one for one in found), bridge


def test_a_part_that_is_missing_twice_there_turned_or_in_anothers_place_is_found(
    made: dict[str, Layout],
) -> None:
    layout = made["sync_cell_a"]
    for one in layout.placed:
        if one.off_board:
            continue
        others = tuple(other for other in layout.placed if other is not one)
        assert judged(PLAIN, "sync_cell_a", replace(layout, placed=others))
        assert judged(PLAIN, "sync_cell_a", replace(layout, placed=(*layout.placed, one)))
        turned = replace(one, pads=dict(zip(one.pads, reversed(list(one.pads.values())), strict=True)))
        assert judged(PLAIN, "sync_cell_a", replace(layout, placed=(*others, turned)))


def test_the_same_netlist_gives_the_same_board(made: dict[str, Layout]) -> None:
    assert layout_of(PLAIN, "sync_cell_a") == made["sync_cell_a"]
    assert hole_name((0, 0)) == "A1"
    assert hole_name((27, 9)) == "AB10"


def test_one_board_of_each_circuit() -> None:
    assert boards_to_draw(PLAIN) == (
        *(
            "release_a",
            "sync_cell_a",
            "gate_transimpedance_a1",
            "controls",
            "lights",
            "lamp_row",
            "lamp_cable",
        ),
    )
    assert {"sync_high_voltage_a", "sync_wetted_b", "solenoid_a", "gate_load_a1"} <= set(
        boards_to_draw(OTHER)
    )
    with pytest.raises(BadInput, match="release_a"):
        layout_of(PLAIN, "release_c")


@pytest.mark.parametrize("build", [PLAIN, OTHER], ids=["plain", "other"])
def test_every_socket_has_its_hole_and_room_round_it(build: Build) -> None:
    netlist = in_use(build)
    found = openings(netlist)
    assert wall_faults(found, netlist) == ()
    moved = tuple(replace(one, x_mm=one.x_mm - 20) if one.what == "J21A" else one for one in found)
    assert wall_faults(moved, netlist)
    assert wall_faults(found[1:], netlist)


def test_the_print_is_to_scale_and_says_which_side(made: dict[str, Layout], tmp_path: Path) -> None:
    """pdftoppm, a general-purpose program, at 254 dots an inch: the bar of 50 mm is 500 dots."""
    layout, sheet = made["release_a"], board_sheet(PLAIN, "release_a")
    page = tmp_path / "board.pdf"
    page.write_bytes(as_pdf(layout, sheet, {(0, 10): 5.7}))
    if shutil.which("pdftoppm") is None:
        pytest.skip("pdftoppm is not installed: apt-get install poppler-utils")
    subprocess.run(["pdftoppm", "-r", "254", "-gray", "-png", page, tmp_path / "board"], check=True)
    (picture,) = tmp_path.glob("board*.png")
    dark = np.asarray(Image.open(picture).convert("L")) < 90
    lengths = [longest_run(row) for row in dark]
    assert any(abs(length - 501) <= 6 for length in lengths)
    # The frame of the parts' side at twice its size.
    assert any(abs(length - 2 * 10 * layout.size_mm[0]) <= 10 for length in lengths)
    text = subprocess.run(
        ["pdftotext", "-layout", page, "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "parts' side" in text
    assert "copper side" in text
    assert "J11A tip" in text


def longest_run(row: npt.NDArray[np.bool_]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], row.astype(np.int8), [0]))))
    return int(max(edges[1::2] - edges[::2], default=0))


def test_the_command_writes_a_page_and_says_its_size(tmp_path: Path) -> None:
    words = ["layout", "--to", str(tmp_path / "boards"), "--board", "sync_cell_a"]
    answer = CliRunner().invoke(command, words)
    assert answer.exit_code == 0, answer.output
    assert "pads to drill away" in answer.output
    assert (tmp_path / "boards" / "board-sync_cell_a.pdf").read_bytes().startswith(b"%PDF")
