"""The pocket card: one leaf of A6, nothing smaller than can be read, nothing over anything else."""

from __future__ import annotations

import itertools
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from PIL import Image

from coincide.planning.basis import basis_of
from coincide.report.card.content import CardContent, card_content
from coincide.report.card.sheet import LEAST_POINT, Sheet, Type
from coincide.report.card.write import card_sheets, write_card
from coincide_wiring.cautions import cautions_for
from tests.report.plans import basis_with, content_with, found_with
from tests.rig.rigs import LEAF, REMOVE, rig_with

LONG: dict[str, Any] = {
    "name": "the long rig of Ennerby Fen, with a name of sixty letters ..",
    "bodies.a.name": "W" * 40,
    "bodies.a.film.name": "colour negative of an uncommonly long name",
    "bodies.b.mount.top_plate": "left",
    "tolerance.subject.name": "a cyclist on the dyke who is uncommonly long to describe",
}
EQUAL: dict[str, Any] = {"bodies.b.shutter.exposure": "1/60"}
SIDE_BY_SIDE: dict[str, Any] = {
    "splitter": REMOVE,
    "bodies.a.film": REMOVE,
    "bodies.b.film": REMOVE,
    "bodies.a.shutter": LEAF,
    "bodies.b.shutter": LEAF,
    "bodies.b.mount": {"looks": "straight", "top_plate": "up"},
    "tolerance": {"time": "1 ms"},
}


def others() -> tuple[Any, ...]:
    pairs = (("1/125", "1/60"), ("1/30", "1/15"), ("1/15", "1/8"), ("1/8", "1/4"))
    return tuple(found_with(exposures=pair, offset_s=-0.0102) for pair in pairs)


CARDS = {
    "as it is": content_with(),
    "long names": content_with(LONG, *others(), rig={"release.lead": "9 s"}),
    "equal exposures": content_with(EQUAL, exposures=("1/60", "1/60"), verification=None),
    "body A delayed": content_with(None, *others(), offset_s=0.0031, interval_s=(0.0030, 0.0032)),
    "leaf shutters": content_with(SIDE_BY_SIDE, exposures=("1/125", "1/125"), apertures=(8.0, 4.0)),
}


def texts(sheet: Sheet) -> list[Text]:
    return [
        one
        for one in sheet.figure.findobj(Text)
        if isinstance(one, Text)
        and one.get_text().strip()
        and one.get_visible()
        and one.axes is not None
        and one in one.axes.texts
    ]


@pytest.mark.parametrize("content", CARDS.values(), ids=CARDS)
def test_nothing_is_smaller_than_can_be_read(content: CardContent) -> None:
    sizes = [float(one.get_fontsize()) for sheet in card_sheets(content) for one in texts(sheet)]
    assert len(sizes) > 25
    assert min(sizes) >= LEAST_POINT == 8.0


@pytest.mark.parametrize("side", [0, 1], ids=["front", "back"])
@pytest.mark.parametrize("content", CARDS.values(), ids=CARDS)
def test_nothing_lies_over_anything_else_or_over_the_edge(content: CardContent, side: int) -> None:
    sheet = card_sheets(content)[side]
    sheet.figure.set_dpi(300)  # as it is saved; hinting widens letters on coarser grids
    renderer = FigureCanvasAgg(sheet.figure).get_renderer()
    page = sheet.figure.bbox
    boxes = [(one.get_text(), one.get_window_extent(renderer)) for one in texts(sheet)]
    for text, box in boxes:
        assert box.x0 >= page.x0 + 60, text
        assert box.x1 <= page.x1 - 60, text
        assert page.y0 + 50 <= box.y0, text
        assert box.y1 <= page.y1 - 50, text
    for (text, box), (other, its) in itertools.combinations(boxes, 2):
        # Boxes count room for descenders: a pixel or two in common is no overlap of ink.
        wide = min(box.x1, its.x1) - max(box.x0, its.x0)
        high = min(box.y1, its.y1) - max(box.y0, its.y0)
        assert wide < 2 or high < 6, (text, other)


@pytest.mark.parametrize("content", CARDS.values(), ids=CARDS)
def test_settings_cautions_and_what_it_rests_on_are_always_there(content: CardContent) -> None:
    said = " ".join(one.get_text() for sheet in card_sheets(content) for one in texts(sheet))
    assert content.delay in said
    for body in content.bodies:
        assert body.setting in said
    for caution in cautions_for("arm"):
        assert caution.say in said
    for line in content.foot:
        assert " ".join(line.split()) in " ".join(said.split())
    assert "What it can photograph" in said
    # All that the light can say after a press: a body that did not answer and one not wound among it.
    for what in ("did not answer", "no light was seen", "not measured", "not fired", "out of tolerance"):
        assert what in said
    assert content.rows[0][-1] in said  # at least one subject always finds room


def test_the_figures_on_the_card() -> None:
    content = CARDS["as it is"]
    assert (content.delay_label, content.delay) == ("Delay Bittern (B) by", "18.20 ms")
    assert "give or take 0.30 ms" in content.delay_note
    assert "preset 1/60+1/30" in content.delay_note
    assert [body.setting for body in content.bodies] == ["1/60 at f/8", "1/30 at f/4"]
    # 15 km/h, 35 mm, 30 um: sharp counts 1/30; no fringe 1.645 deviations of skew and 7.8 ms more.
    skew_s = 1.644854 * np.hypot(0.0011, 0.0003 / 1.96)
    assert 145 < 0.035 * (1 + 15 / 3.6 * 2**-5 / 30.0046e-6) < 155
    (free,) = [0.035 * (1 + 15 / 3.6 * seconds / 30.0046e-6) for seconds in (skew_s + 1 / 128,)]
    assert content.rows[0] == ("a cyclist on the dyke", "15", "150 m", "150 m", f"{free:.0f} m")
    assert "is not kept: own blur 152 / 305 um, ghost 94 um, 30 um allowed" in content.limits_note
    assert not content.invented
    assert not content.warning


def test_whom_to_delay_and_the_other_presets() -> None:
    content = CARDS["body A delayed"]
    assert content.delay_label == "Delay Lapwing (A) by"
    assert content.delay == "3.10 ms"
    assert content.pairs[0] == ("1/60+1/30", "A by 3.10 ms", "12.1 to 12.7")
    assert content.pairs[1] == ("1/125+1/60", "B by 10.20 ms", "13.1 to 13.7")
    assert len(content.pairs) == 3


def test_a_preset_that_no_longer_holds_is_left_out_and_its_own_card_says_so() -> None:
    stale = found_with(exposures=("1/125", "1/60"), rig={"bodies.a.release": "solenoid"})
    assert content_with(None, stale).pairs[1:] == ()
    assert "calibrate again" in CARDS["long names"].warning


def test_invented_data_say_so() -> None:
    assert content_with(None, box="sim-00000001").invented


def test_kept_stands_first_and_its_parts_after_it() -> None:
    assert CARDS["equal exposures"].columns == ("moving across", "km/h", "kept from", "sharp", "no fringe")
    assert "not verified" in CARDS["equal exposures"].foot[0]


def test_no_card_without_a_calibration() -> None:
    from coincide.errors import BadInput

    basis = basis_of(rig_with(), [], jitter_s=0.001)
    with pytest.raises(BadInput, match="needs a calibration"):
        card_content(basis, [], "9.9.9")


def test_two_sides_of_a6_twice_the_same(tmp_path: Path) -> None:
    content = card_content(basis_with(), [], "9.9.9")
    pdf, png = write_card(content, tmp_path)
    raw = pdf.read_bytes()
    assert raw.startswith(b"%PDF")
    assert len(re.findall(rb"/Type /Page\b", raw)) == 2
    box = re.search(rb"/MediaBox \[ ?([\d. ]+) ?\]", raw)
    assert box is not None
    size_mm = [float(side) / 72 * 25.4 for side in box[1].split()[2:]]
    assert size_mm == pytest.approx([105, 148], abs=0.01)
    with Image.open(png) as image:
        assert image.size == (2480, 1748)  # 300 dots an inch
    again = tmp_path / "again"
    again.mkdir()
    assert [path.read_bytes() for path in write_card(content, again)] == [raw, png.read_bytes()]


def test_a_sheet_refuses_what_cannot_be_read() -> None:
    with pytest.raises(ValueError, match="cannot be read"):
        Sheet(105, 148, "#ffffff").line(6, 6, "small print", Type(6.4))


def test_text_is_measured_before_it_is_set() -> None:
    sheet, face = Sheet(105, 148, "#ffffff"), Type(7.0)
    for line in sheet.wrapped(
        "Keep fingers, straps and sensors off curtains, blades and mirrors. " * 3, 40.0, face
    ):
        assert sheet.width_mm(line, face) <= 40.0
    assert sheet.cut("short", 40.0, face) == "short"
    cut = sheet.cut("a word without end" * 9, 40.0, face)
    assert cut.endswith("…")
    assert sheet.width_mm(cut, face) <= 40.0
