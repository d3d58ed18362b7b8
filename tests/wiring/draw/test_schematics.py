"""The pictures are the netlist: same parts, same joints, same bytes; and a person can read them on paper."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from itertools import combinations, pairwise

import pytest

from coincide_wiring.circuits.model import Sheet
from coincide_wiring.draw.body import release
from coincide_wiring.draw.schematics import FOLDER, WrongDrawing, compare, draw, drawn_sheets, write
from coincide_wiring.draw.sketch import Sketch, farads
from coincide_wiring.netlist import Build, sheets

SHEETS = drawn_sheets()
A4_PT = (842 - 2 * 28, 595 - 2 * 28)  # 297 x 210 mm less a centimetre all round
SMALLEST_READABLE_PT = 6.0


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_drawing_again_gives_the_file_that_is_kept(sheet: Sheet) -> None:
    assert draw(sheet) == (FOLDER / f"{sheet.name}.svg").read_bytes()


def test_nothing_else_lies_in_the_folder() -> None:
    assert {path.name for path in FOLDER.iterdir()} == {f"{sheet.name}.svg" for sheet in SHEETS}


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_every_part_is_named_on_its_drawing(sheet: Sheet) -> None:
    words = " ".join(word for word, *_ in texts((FOLDER / f"{sheet.name}.svg").read_bytes()))
    for one in sheet.parts:
        shown = one.ref if one.kind != "body" else one.ref.replace("BODY_", "body ")
        assert re.search(rf"\b{re.escape(shown)}\b", words), f"{one.ref} is not named"


def test_every_circuit_of_every_build_has_a_drawing_up_to_the_body_letter() -> None:
    def shape(sheet: Sheet) -> list[tuple[str, tuple[str, ...]]]:
        return sorted((one.kind, tuple(one.pins)) for one in sheet.parts)

    drawn = [shape(sheet) for sheet in SHEETS]
    for build in (
        Build(),
        Build(("wetted", "high-voltage"), ("solenoid", "solenoid"), ("transimpedance", "load")),
    ):
        for sheet in sheets(build):
            assert shape(sheet) in drawn, sheet.name


def test_a_picture_that_joins_other_pins_than_the_netlist_cannot_be_drawn() -> None:
    (sheet,) = [one for one in SHEETS if one.name == "release_a"]
    swapped = [
        one.rewired("out1", "A_FULL")
        if one.ref == "K11A"
        else one.rewired("out1", "A_HALF")
        if one.ref == "K12A"
        else one
        for one in sheet.parts
    ]
    sketch = Sketch(replace(sheet, parts=tuple(swapped)))
    release(sketch, "A")
    with pytest.raises(WrongDrawing, match="joined otherwise"):
        compare(sketch)


def test_a_picture_that_leaves_out_a_part_cannot_be_drawn() -> None:
    (sheet,) = [one for one in SHEETS if one.name == "release_a"]
    sketch = Sketch(sheet)
    release(sketch, "A")
    del sketch.pins["R13A", "one"]
    with pytest.raises(WrongDrawing, match="pins drawn"):
        compare(sketch)


def texts(svg: bytes) -> list[tuple[str, float, float, float, float, float]]:
    """(words, x least, x most, y least, y most, size in points) of every text, generously measured."""
    found = []
    for element in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        x, y, size = (
            float(element.get("x", 0)),
            float(element.get("y", 0)),
            float(element.get("font-size", 0)),
        )
        anchor = element.get("text-anchor", "start")
        rows = [row for row in element.itertext() if row.strip()]
        for place, row in enumerate(rows):
            width = 0.6 * size * len(row)
            left = {"start": x, "middle": x - width / 2, "end": x - width}[anchor]
            # Each row is shifted down by its own size and centred there.
            middle = y + (place + 1) * size
            found.append((row.strip(), left, left + width, middle - 0.45 * size, middle + 0.45 * size, size))
    return found


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_no_two_texts_overlap_and_none_leaves_the_sheet(sheet: Sheet) -> None:
    svg = (FOLDER / f"{sheet.name}.svg").read_bytes()
    found = texts(svg)
    assert found
    for one, other in combinations(found, 2):
        apart = one[2] <= other[1] or other[2] <= one[1] or one[4] <= other[3] or other[4] <= one[3]
        assert apart, f"'{one[0]}' and '{other[0]}' overlap"
    x0, y0, wide, high = (
        float(value) for value in (ElementTree.fromstring(svg).get("viewBox") or "").split()
    )
    for words, left, right, top, bottom, _ in found:
        assert x0 <= left <= right <= x0 + wide, words
        assert y0 <= top <= bottom <= y0 + high, words


Point = tuple[float, float]


def strokes(svg: bytes) -> list[tuple[Point, Point]]:
    """Every straight stroke of a drawing, outlines of symbols and flags among them."""
    found: list[tuple[Point, Point]] = []
    for element in ElementTree.fromstring(svg).iter():
        tag = element.tag.rpartition("}")[2]
        if tag not in ("path", "polygon", "polyline"):
            continue
        written = element.get("d") or element.get("points") or ""
        numbers = [float(one) for one in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", written)]
        points = list(zip(numbers[::2], numbers[1::2], strict=True))
        found += pairwise([*points, points[0]] if tag == "polygon" else points)
    return found


def enters(stroke: tuple[Point, Point], left: float, right: float, top: float, bottom: float) -> bool:
    """Whether a stroke passes through a box: the part of it that lies within each pair of sides (Liang and
    Barsky) is not empty."""
    (x1, y1), (x2, y2) = stroke
    start, end = 0.0, 1.0
    for step, room in (
        (x1 - x2, x1 - left),
        (x2 - x1, right - x1),
        (y1 - y2, y1 - top),
        (y2 - y1, bottom - y1),
    ):
        if step == 0:
            if room < 0:
                return False
        elif step < 0:
            start = max(start, room / step)
        else:
            end = min(end, room / step)
    return start < end


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_no_stroke_runs_through_a_text(sheet: Sheet) -> None:
    svg = (FOLDER / f"{sheet.name}.svg").read_bytes()
    drawn = strokes(svg)
    assert len(drawn) > 10
    for words, left, right, top, bottom, size in texts(svg):
        for stroke in drawn:
            # The width is a generous guess: a twentieth of a letter less at either end.
            box = (left + 0.05 * size, right - 0.05 * size, top, bottom)
            assert not enters(stroke, *box), f"a stroke runs through '{words}': {stroke}"


def test_a_stroke_through_a_text_would_be_seen() -> None:
    box = (0.0, 10.0, 0.0, 4.0)
    assert enters(((-5, 2), (15, 2)), *box)
    assert enters(((5, -5), (5, 9)), *box)
    assert enters(((2, 1), (3, 2)), *box)
    assert not enters(((-5, 5), (15, 5)), *box)
    assert not enters(((11, 0), (20, 4)), *box)
    assert not enters(((-3, 3), (1, 7)), *box)


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda sheet: sheet.name)
def test_readable_on_a_sheet_of_a4(sheet: Sheet) -> None:
    svg = (FOLDER / f"{sheet.name}.svg").read_bytes()
    _, _, wide, high = (float(value) for value in (ElementTree.fromstring(svg).get("viewBox") or "").split())
    landscape = min(1.0, A4_PT[0] / wide, A4_PT[1] / high)
    portrait = min(1.0, A4_PT[1] / wide, A4_PT[0] / high)
    smallest_pt = min(size for *_, size in texts(svg))
    assert max(landscape, portrait) * smallest_pt >= SMALLEST_READABLE_PT


def plates(sheet_name: str) -> list[tuple[float, float]]:
    """(height on the sheet, length) of the short horizontal strokes at the left edge: a cell's plates."""
    svg = (FOLDER / f"{sheet_name}.svg").read_bytes()
    found = []
    for element in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}path"):
        numbers = [float(one) for one in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", element.get("d", ""))]
        points = list(zip(numbers[::2], numbers[1::2], strict=False))
        for (x1, y1), (x2, y2) in pairwise(points):
            if abs(y1 - y2) < 0.01 and 5 < abs(x1 - x2) < 40:
                found.append((y1, abs(x1 - x2), (x1 + x2) / 2))
    left = min(middle for _, _, middle in found)
    return [(y, length) for y, length, middle in found if abs(middle - left) < 1]


@pytest.mark.parametrize(
    "name", ["sync_cell_a", "sync_wetted_a", "sync_high_voltage_a", "gate_lamp", "solenoid_a"]
)
def test_the_long_plate_of_a_cell_is_its_positive_end_and_lies_on_top(name: str) -> None:
    stack = sorted(plates(name))
    assert len(stack) in (2, 4)
    assert stack[0][1] > stack[1][1]


def test_write_draws_them_all(tmp_path) -> None:  # type: ignore[no-untyped-def]
    assert {path.name for path in write(tmp_path / "new")} == {path.name for path in FOLDER.iterdir()}


@pytest.mark.parametrize(
    ("value", "words"), [(6.8e-12, "6.8 pF"), (100e-9, "100 nF"), (1e-6, "1 µF"), (1e-3, "1000 µF")]
)
def test_capacitances_are_written_as_people_write_them(value: float, words: str) -> None:
    assert farads(value) == words
