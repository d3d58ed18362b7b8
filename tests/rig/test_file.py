"""The rig file: the template reads, and whatever is wrong in a file is named by key, value and remedy."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coincide.errors import BadInput
from coincide.rig.check import doubts
from coincide.rig.file import load_rig, parse_rig, rig_from_tables
from coincide.rig.new import TEMPLATE, write_new
from coincide.rig.parts import Electronic, ElectronicFirstCurtain, FocalPlane, Leaf
from tests.rig.rigs import LEAF, REMOVE, rig_with, tables_with, text_with

# Everything a rig file can hold that the template leaves out.
MORE: dict[str, Any] = {
    "bodies.a.shutter": {**LEAF, "sync_uncertainty": "1 ms"},
    "bodies.a.edges": {"bounce": "12 ms", "earliest": "3 ms", "latest": "1 s", "shortest": "0.5 ms"},
    "bodies.a.sensors.gate_1": {
        "position": 0.4,
        "width": "1 mm",
        "threshold": 0.5,
        "delay_on": "5 us",
        "delay_off": "5 us",
        "delay_uncertainty": "5 us",
        "rise": "2 us",
    },
    "bodies.a.sensors.gate_2": {"position": 0.9, "width": "1 mm"},
    "bodies.a.film.effective_index": 25,
    "bodies.a.film.reciprocity": {"table": [["1 s", "1.5 s"], ["10 s", "25 s"]]},
    "bodies.b.film.filter_stops": 4,
    "bodies.b.shutter": {
        "kind": "electronic",
        "exposure": "1/60",
        "readout": "20 ms",
        "sweep": "top to bottom",
    },
    "tolerance.print": {"long_side": "40 cm", "viewed_from": "50 cm"},
    "tolerance.time": "2 ms",
}
OTHERS: dict[str, Any] = {
    "bodies.b.shutter": {
        "kind": "electronic-first-curtain",
        "exposure": "1/60",
        "travel": "4 ms",
        "sweep": "top to bottom",
    },
    "tolerance.on_film": "30 um",
}
PIXELS: dict[str, Any] = {"tolerance.scan_pixels": 2}
RIGS = {"template": {}, "more": MORE, "others": OTHERS, "pixels": PIXELS}


def leaves(table: dict[str, Any], above: str = "") -> list[tuple[str, Any]]:
    """Every key of nested tables with its path and value; tables too, but format and version not."""
    found: list[tuple[str, Any]] = []
    for key, value in table.items():
        path = f"{above}.{key}" if above else key
        if path not in ("format", "version"):
            found.append((path, value))
        if isinstance(value, dict):
            found += leaves(value, path)
    return found


def every_key() -> list[tuple[str, str, Any]]:
    cases = []
    for name, changes in RIGS.items():
        for path, value in leaves(tables_with(changes)):
            cases.append((name, path, value))
    return cases


def refusal_of(rig: str | dict[str, Any]) -> str:
    with pytest.raises(BadInput) as refusal:
        parse_rig(rig, "fen.toml") if isinstance(rig, str) else rig_from_tables(rig, "fen.toml")
    message = str(refusal.value)
    assert message.startswith("fen.toml")
    assert "\n" not in message
    assert "Traceback" not in message
    assert "pydantic" not in message
    assert message.endswith((".", "?", ")"))
    return message


@pytest.mark.parametrize("name", RIGS)
def test_every_rig_of_these_tests_is_right(name: str) -> None:
    parse_rig(text_with(RIGS[name]))


@pytest.mark.parametrize(("name", "path", "value"), every_key())
def test_every_field_wrong_in_turn(name: str, path: str, value: Any) -> None:
    """Wrong in kind; then, for quantities and choices, wrong in what they say."""
    wrongs: list[Any] = [True, 12345678901] if isinstance(value, str | dict | list) else ["wrong", True, -1e9]
    if isinstance(value, str) and not path.endswith("name") and not path.endswith("band"):
        wrongs += ["qqq zzz", "", "-5 kg"]
    for wrong in wrongs:
        message = refusal_of(tables_with({**RIGS[name], path: wrong}))
        assert path in message or path.rsplit(".", 1)[0] in message
        assert path.rsplit(".", 1)[-1] in message
        assert str(wrong) in message


@pytest.mark.parametrize(("name", "path", "value"), every_key())
def test_every_key_misspelt_in_turn(name: str, path: str, value: Any) -> None:
    """The misspelt key is named, and the right one is offered."""
    above, _, last = path.rpartition(".")
    if above.endswith("bands") or len(last) < 3 or path.endswith("shutter.kind"):  # those are missing, then
        return
    misspelt = f"{above}.{last}e" if above else f"{last}e"
    message = refusal_of(tables_with({**RIGS[name], path: REMOVE, misspelt: value}))
    assert f"{misspelt} is not a key of this table: did you mean '{last}'?" in message


REQUIRED = [
    "name",
    "bodies",
    "bodies.a",
    "bodies.b.name",
    "bodies.a.wind",
    "bodies.a.release",
    "bodies.a.sync",
    "bodies.a.frame",
    "bodies.a.frame.width",
    "bodies.a.shutter",
    "bodies.a.shutter.kind",
    "bodies.a.shutter.exposure",
    "bodies.a.shutter.travel",
    "bodies.a.shutter.sweep",
    "bodies.a.lens",
    "bodies.a.lens.focal_length",
    "bodies.a.mount",
    "bodies.a.mount.looks",
    "bodies.a.film.iso",
    "splitter.a",
    "splitter.bands",
    "splitter.bands.visible.transmission",
    "tolerance",
    "tolerance.subject.speed",
]


@pytest.mark.parametrize("path", REQUIRED)
def test_what_is_missing_is_named(path: str) -> None:
    message = refusal_of(tables_with({path: REMOVE}))
    assert f"{path} is missing; expected: " in message


CONTRADICTIONS: list[tuple[dict[str, Any], str]] = [
    (
        {"splitter.bands.visible.reflection": 0.5},
        "splitter.bands.visible.transmission 0.7 and reflection 0.5",
    ),
    ({"splitter.a": "reflected"}, "splitter.a and b are both 'reflected'"),
    ({"splitter.a": "reflected", "splitter.b": "transmitted"}, "bodies.a.mount.looks is 'straight', but"),
    ({"splitter": REMOVE}, "bodies.b.mount.looks is 'up at the glass', but there is no [splitter]"),
    ({"bodies.a.mount.top_plate": "towards the scene"}, "bodies.a.mount.top_plate is 'towards the scene'"),
    ({"bodies.b.mount.top_plate": "up"}, "bodies.b.mount.top_plate is 'up'"),
    ({"bodies.b.mount.looks": "sideways"}, "'up at the glass', 'down at the glass', 'from the left'"),
    ({"bodies.a.film.band": "ultraviolet"}, "bodies.a.film.band is 'ultraviolet'"),
    ({"bodies.a.lens.aperture": "f/1.4"}, "bodies.a.lens.aperture is f/1.4, outside"),
    ({"bodies.a.lens.widest": "f/22"}, "bodies.a.lens.widest is f/22 and smallest f/16"),
    ({"bodies.a.lens.focused": "10 cm"}, "bodies.a.lens.focused is 0.1 m, nearer than a lens of 35 mm"),
    ({"tolerance.subject.distance": "3 cm"}, "tolerance.subject.distance is 0.03 m, inside the focal length"),
    ({"tolerance.subject.direction": "towards"}, "tolerance.subject.point is 'centre'"),
    ({"tolerance.subject": REMOVE}, "neither 'time' nor 'subject'"),
    ({"tolerance.on_film": "20 um", "tolerance.scan_pixels": 2}, "on_film and scan_pixels are given"),
    ({"tolerance.scan_pixels": 2, "bodies.b.scan": REMOVE}, "bodies.b.scan is not"),
    ({"bodies.b.film.effective_index": 25}, "bodies.b.film: give 'filter_stops' or 'effective_index'"),
    ({"bodies.b.film.reciprocity": {"from": "1 s"}}, "bodies.b.film.reciprocity: give either 'power'"),
    ({"bodies.b.film.reciprocity": {"table": [["2 s", "1 s"]]}}, "no needed time may be shorter"),
    ({"bodies.b.film.reciprocity": {"table": [["2 s", "3 s"], ["1 s", "4 s"]]}}, "must rise"),
    ({"edges.earliest": "2 s"}, "'earliest' must come before 'latest'"),
    (
        {"bodies.a.shutter.exposure": "auto"},
        "bodies.a.shutter.exposure: 'auto': an exposure set automatically",
    ),
    ({"bodies.a.shutter.exposure": "B"}, "bulb and time exposures are not timed here"),
    ({"bodies.a.shutter.exposure": "30 s"}, "out of range"),
    ({"bodies.a.shutter.marked": ["1/60", "1/6O"]}, "bodies.a.shutter.marked[1]: '1/6O'"),
    ({"release.closure": "6 s"}, "release.closure: '6 s' is out of range"),
]


@pytest.mark.parametrize(("changes", "says"), CONTRADICTIONS)
def test_contradictions_are_refused_with_key_and_value(changes: dict[str, Any], says: str) -> None:
    assert says in refusal_of(tables_with(changes))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        ("\n \n", "is empty"),
        ("bodies = [", "is not TOML"),
        ("x = " + "[" * 5000, "is not TOML"),
        ("x = 1", "is not a rig file"),
        ('format = "coincide-session"\nversion = 1', "is not a rig file"),
        ('format = "coincide-rig"', "version is None"),
        ('format = "coincide-rig"\nversion = true', "version is True"),
        ('format = "coincide-rig"\nversion = "1"', "version is '1'"),
        ('format = "coincide-rig"\nversion = 2\nnew_things = 1', "of a later coincide"),
        ('format = "coincide-rig"\nversion = 1', "name is missing"),
    ],
)
def test_what_is_no_rig_file(text: str, says: str) -> None:
    assert says in refusal_of(text)


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00rig")
    (tmp_path / "huge.toml").write_bytes(b"# padding\n" * 200_000)
    for path, says in (
        (tmp_path, "is a folder"),
        (tmp_path / "none.toml", "coincide rig new"),
        (tmp_path / "binary.toml", "is not text"),
        (tmp_path / "huge.toml", "larger than 1 MiB"),
    ):
        with pytest.raises(BadInput, match=says) as refusal:
            load_rig(path)
        assert str(path) in str(refusal.value)


def test_the_template_is_written_once_loads_and_raises_no_doubt_but_its_own(tmp_path: Path) -> None:
    path = write_new(tmp_path / "rig.toml")
    rig = load_rig(path)
    assert [doubt for doubt in doubts(rig) if "circle of confusion" not in doubt] == []
    with pytest.raises(BadInput, match="stays as it is"):
        write_new(path)
    assert path.read_text(encoding="utf-8") == TEMPLATE
    with pytest.raises(BadInput, match="cannot be written"):
        write_new(tmp_path / "nowhere" / "rig.toml")


def test_what_was_written_is_what_is_read() -> None:
    rig = rig_with()
    first, second = rig.both
    assert (first.name, second.name) == ("Lapwing", "Bittern")
    assert rig.exposures == ("1/60", "1/30")
    assert isinstance(first.shutter, FocalPlane)
    assert first.shutter.travel_s == 0.0072
    assert first.shutter.exposure.nominal_s == 2.0**-6
    assert first.frame.width_m == 0.036
    assert first.scan_pitch_m == pytest.approx(6.35e-6)
    assert rig.edge_rules[0].bounce_s == 0.012
    assert rig.tolerance.subject is not None
    assert rig.tolerance.subject.speed_m_s == pytest.approx(15 / 3.6)


def test_each_kind_of_shutter() -> None:
    rig = rig_with(MORE)
    assert isinstance(rig.bodies.a.shutter, Leaf)
    assert rig.bodies.a.shutter.closing_s == 0.0024
    assert isinstance(rig.bodies.b.shutter, Electronic)
    assert isinstance(rig_with(OTHERS).bodies.b.shutter, ElectronicFirstCurtain)


def test_a_body_may_have_edge_rules_of_its_own() -> None:
    rules = rig_with({"bodies.b.edges": {"latest": "250 ms"}}).edge_rules
    assert (rules[0].latest_s, rules[1].latest_s) == (1.0, 0.25)


def test_a_byte_order_mark_is_no_obstacle(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_text(TEMPLATE, encoding="utf-8-sig")
    assert load_rig(path).name == "the fen rig"


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_damage_anywhere_is_read_or_refused_in_a_sentence(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(TEMPLATE)))
    text = TEMPLATE[:at] + data.draw(st.text(max_size=8)) + TEMPLATE[at + data.draw(st.integers(0, 12)) :]
    message = "."
    try:
        parse_rig(text)
    except BadInput as refusal:
        message = str(refusal)
    assert message.endswith((".", "?", ")"))


@pytest.mark.parametrize("key", ["travel", "curve", "sync_uncertainty", "opening", "transmission"])
def test_the_example_says_what_to_do_when_a_figure_is_unknown(key: str) -> None:
    """Whoever does not know it finds there what to write, how good that is, and what measures it."""
    told = [
        TEMPLATE[at.start() : at.start() + 420]
        for at in re.finditer(rf"^(?:#   )?{key} = ", TEMPLATE, re.MULTILINE)
    ]
    assert any("Unknown" in one for one in told)
