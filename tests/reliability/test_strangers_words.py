"""Words out of strangers' files are words: on the page, in pictures, on the terminal, and in the names of files."""

from __future__ import annotations

import dataclasses
import itertools
import json
import re
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import orjson
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coincide.errors import BadInput
from coincide.report.page.content import page_content
from coincide.report.page.model import Page
from coincide.report.page.write import page_html
from coincide.session.file import read_session
from coincide.session.unfinished import Unfinished
from coincide.timing.analysis import analyse, measure
from tests.cli.running import run
from tests.report.page.browser import ABSENT, CHROMIUM, DRIVER, open_browser

HOSTILE = (
    "</script><script>window.taken=1</script>",
    "<img src=x onerror=window.taken=1>",
    '"><svg/onload=window.taken=1>',
    "' onmouseover='window.taken=1' x='",
    "</title></style></textarea><iframe src=javascript:window.taken=1>",
    "<!-- ]]> --!>",
    "{{ 7 * 7 }}{% raw %}",
    "&lt;b&gt;&#x3c;b>",
    "javascript:window.taken=1",
)
COMMANDS = "".join(map(chr, (*range(9), *range(11, 32), *range(127, 160), 0x202E, 0x2066)))


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a rig and a session of it."""
    folder = tmp_path_factory.mktemp("measured")
    assert run(["rig", "new"], folder).code == 0
    assert run(["series", "-n", "8", "--out", "s.jsonl"], folder).code == 0
    return folder


@pytest.fixture(scope="module")
def page(measured: Path) -> Page:
    found = page_content(analyse(read_session(measured / "s.jsonl")), "s.jsonl", None, None)
    # Drawings are ours; without them it is laid out in no time.
    sections = tuple(
        dataclasses.replace(
            one, figures=tuple(dataclasses.replace(f, svg="<svg></svg>", narrow="") for f in one.figures)
        )
        for one in found.sections
    )
    return dataclasses.replace(found, sections=sections)


class Structure(HTMLParser):
    """What a parser makes of a page: each element with the names of its attributes, in order, and all text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, tuple[str, ...]]] = []
        self.words: list[str] = []
        self.values: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(name for name, _ in attrs)))
        self.values += [value or "" for _, value in attrs]

    def handle_comment(self, data: str) -> None:
        self.elements.append(("comment", ()))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


# Ours by construction: markup drawn from numbers, and names of places on the page.
OURS = {"svg", "narrow", "id", "edges", "version"}


def spoken(value: Any, word: str) -> Any:
    """The same with every string that could come from a file ending in `word`."""
    if isinstance(value, str):
        return value + word
    if isinstance(value, tuple):
        return tuple(spoken(item, word) for item in value)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        changes = {
            field.name: spoken(getattr(value, field.name), word)
            for field in dataclasses.fields(value)
            if field.name not in OURS
        }
        return dataclasses.replace(value, **changes)
    return value


@pytest.mark.parametrize("word", HOSTILE)
def test_no_string_anywhere_changes_what_the_page_is_made_of(page: Page, word: str) -> None:
    harmless = Structure(page_html(spoken(page, "harmless")))
    hostile = Structure(page_html(spoken(page, word)))
    assert hostile.elements == harmless.elements
    count = sum(text.count("harmless") for text in (*harmless.words, *harmless.values))
    assert count > 50
    # And every one of them is still there to be read.
    assert sum(text.count(word) for text in (*hostile.words, *hostile.values)) >= count


@settings(max_examples=12, deadline=None)
@given(word=st.text(st.sampled_from("<>&\"'`=/!-{}%#x\\ \n\u2028]"), min_size=1, max_size=12))
def test_no_run_of_odd_characters_does(page: Page, word: str) -> None:
    harmless = Structure(page_html(spoken(page, "harmless")))
    assert Structure(page_html(spoken(page, word))).elements == harmless.elements


def hostile_session(path: Path, measured: Path, *words: str) -> Path:
    """A session with these words in every free text: names of bodies and rig, remarks, check list, box, preset."""
    header, *lines = (measured / "s.jsonl").read_bytes().splitlines()
    found = orjson.loads(header)
    for old, word in zip(("the fen rig", "Lapwing", "Bittern"), itertools.cycle(words)):
        found["rig_toml"] = found["rig_toml"].replace(f'name = "{old}"', f"name = {json.dumps(word[:40])}")
    all_words = " ".join(words)
    found |= {"created": all_words, "preset": all_words, "confirmed": list(words)}
    found["box"] |= {
        "firmware": all_words,
        "board": {"board": all_words, "uid": all_words, "simulated": True},
    }
    remarks = [orjson.dumps({"remark": one, "at": one, "say": one, "detail": {one: one}}) for one in words]
    path.write_bytes(b"\n".join([orjson.dumps(found), *lines, *remarks, b""]))
    return path


def as_file_name(word: str) -> str:
    return re.sub(r"[/\\\0]", "", word)[:60] + ".jsonl"


NAMES = ("$", "$\\frac{$<img src=x onerror=taken>", "../../a $x^$ </script><b>")
ESCAPES = (
    "../../taken",
    "/tmp/taken",
    "..\\..\\taken",
    "a/../../taken",
    "C:\\taken",
    "~/taken",
    "%2e%2e/taken",
)


@dataclasses.dataclass(frozen=True)
class Reported:
    """A hostile session and what `report` made of it: what it said, the files it wrote, the page among them."""

    said: str
    files: set[Path]
    page: Path
    text: str


@pytest.fixture(scope="module")
def reported(measured: Path, tmp_path_factory: pytest.TempPathFactory) -> Reported:
    """Every hostile word in one session, under a hostile name."""
    folder = tmp_path_factory.mktemp("hostile") / "inside"
    folder.mkdir()
    path = folder / as_file_name(HOSTILE[1])
    hostile_session(path, measured, *NAMES, *HOSTILE, *ESCAPES, COMMANDS)
    before = everything_under(folder.parent)
    ran = run(["report", path.name, "--to", "r", "--pair", "2"], folder)
    assert ran.code == 0, ran.said
    (written,) = (folder / "r").glob("*.html")
    return Reported(ran.said, everything_under(folder.parent) - before, written, written.read_text("utf-8"))


def test_a_hostile_session_is_shown_as_words(reported: Reported) -> None:
    found = Structure(reported.text)
    tags = Counter(tag for tag, _ in found.elements)
    assert tags["script"] == 2
    assert tags["img"] == tags["iframe"] == tags["comment"] == 0
    assert not [names for _, names in found.elements if any(one.startswith("on") for one in names)]
    for word in (*NAMES, *HOSTILE, *ESCAPES):
        assert word in "".join(found.words)


def test_a_name_is_no_formula_in_any_picture(reported: Reported) -> None:
    drawings = re.findall(r"<svg.*?</svg>", reported.text, re.DOTALL)
    drawn = "".join("".join(Structure(one).words) for one in drawings)
    for name in NAMES[1:]:
        assert name in drawn


def test_no_text_in_a_file_leads_a_path_out_of_the_output_folder(reported: Reported) -> None:
    assert {path.parent for path in reported.files} == {reported.page.parent}
    assert not list(Path("/tmp").glob("taken*"))


def test_no_text_in_a_file_commands_the_terminal(reported: Reported) -> None:
    assert not set(reported.said) & set(COMMANDS)


@pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason=ABSENT)
def test_nothing_of_it_is_executed_in_a_real_browser(reported: Reported) -> None:
    with open_browser() as browser:
        browser.show(reported.page, 1200)
        assert browser.run("return window.taken === undefined")
        assert browser.run("return document.scripts.length") == 2
        assert browser.run("return document.querySelectorAll('img, iframe, object, embed, form').length") == 0
        assert {url for url in browser.requests() if not url.startswith("data:")} == {reported.page.as_uri()}
        # Every element is moved over and clicked, as a hand might.
        browser.run(
            "document.querySelectorAll('body *').forEach(function (one) {"
            "['mouseover', 'focus', 'click'].forEach(function (kind) { one.dispatchEvent(new Event(kind)); }); });"
        )
        assert browser.run("return window.taken === undefined")


def test_names_that_would_command_a_terminal_are_refused_in_harmless_words(
    measured: Path, tmp_path: Path
) -> None:
    hostile_session(tmp_path / "s.jsonl", measured, "\x1b]0;taken\x07\x1b[2J\u202egnp" + COMMANDS)
    rig = tmp_path / "rig.toml"
    assert run(["rig", "new"], tmp_path).code == 0
    rig.write_text(rig.read_text().replace('name = "Lapwing"', 'name = "Lap\\u001b[2Jwing\\u202e"'))
    for words in (["rig", "show"], ["rig", "check"], ["limits"], ["report", "s.jsonl"]):
        ran = run(words, tmp_path)
        assert ran.code == 2
        assert "control characters" in ran.err
        assert not set(ran.said) & set(COMMANDS), ran.said


def formulas_drawn(measured: Path, folder: Path, *names: str) -> None:
    path = hostile_session(folder / as_file_name(names[0]), measured, *names)
    ran = run(["report", path.name, "--to", "r", "--pair", "1"], folder)
    assert ran.code == 0, ran.said
    (written,) = (folder / "r").glob("*.html")
    drawings = re.findall(r"<svg.*?</svg>", written.read_text("utf-8"), re.DOTALL)
    drawn = "".join("".join(Structure(one).words) for one in drawings)
    for name in names[1:3]:
        assert name in drawn


@pytest.mark.soak
@pytest.mark.parametrize(
    "name", ["$$", "\\$5", "^_{}$^", "100 % & #", "$\\undefined$", "\\", "_", "{", "%s %d {0}"]
)
def test_nor_is_any_of_these(measured: Path, tmp_path: Path, name: str) -> None:
    formulas_drawn(measured, tmp_path, name, name, name)


@pytest.mark.parametrize("word", ESCAPES)
def test_no_note_of_a_broken_off_run_does(tmp_path: Path, word: str) -> None:
    outside = tmp_path / "taken.jsonl"
    outside.write_text("not of this folder")
    folder = tmp_path / "inside" / "sessions"
    folder.mkdir(parents=True)
    note = folder / "rig-1-60+1-30-calibrate.unfinished.json"
    note.write_text(json.dumps({"pairs": [10, 10], "sessions": [word + ".jsonl", "x.jsonl"]}))
    assert Unfinished(folder, "rig-1-60+1-30-calibrate").read(2) is None


def everything_under(folder: Path) -> set[Path]:
    return {path for path in folder.rglob("*") if path.is_file()}


WRONG_SHAPES: list[Any] = [
    [[1, 0], [2, 5]],
    [[1, 0, 3]],
    [1, [0]],
    {"1": 0},
    [1, None],
    [1.0, 2.0],
    ["1", "2"],
    "1,2",
    7,
]


def with_edges(measured: Path, path: Path, changed: dict[int, Any]) -> dict[int, int]:
    """The session with other edges in these pairs; the line of each."""
    lines = (measured / "s.jsonl").read_bytes().splitlines()
    at = {}
    for shot, edges in changed.items():
        at[shot] = next(place for place, line in enumerate(lines) if line.startswith(b'{"shot":%d,' % shot))
        lines[at[shot]] = orjson.dumps(orjson.loads(lines[at[shot]]) | {"edges": edges})
    path.write_bytes(b"\n".join([*lines, b""]))
    return {shot: place + 1 for shot, place in at.items()}


@pytest.mark.parametrize("edges", WRONG_SHAPES, ids=str)
def test_edges_of_a_wrong_shape_cost_that_pair_and_are_named(
    measured: Path, tmp_path: Path, edges: Any
) -> None:
    lines = with_edges(measured, tmp_path / "s.jsonl", {3: edges})
    session = read_session(tmp_path / "s.jsonl")
    assert session.shot.tolist() == [1, 2, 4, 5, 6, 7, 8]
    (said,) = [remark for remark in session.remarks if remark.kind == "damaged line"]
    assert said.detail == {"line": lines[3]}
    assert np.isfinite(measure(session).skew_s).sum() >= 6


def test_edges_far_apart_leave_the_other_pairs_what_they_are(measured: Path, tmp_path: Path) -> None:
    """Pairs whose edges lie years apart, or as far as a file may say: measured, drawn and laid out all the same."""
    far = 2**63 // 4 - 1
    apart = {3: [3, 0, 9, far, 8, far], 4: [3, -far, 9, 0, 8, far], 5: [1, 0, 3, 10**15, 9, 10**17]}
    with_edges(measured, tmp_path / "s.jsonl", apart)
    others = [0, 1, 5, 6, 7]
    found = analyse(read_session(tmp_path / "s.jsonl"))
    undisturbed = measure(read_session(measured / "s.jsonl"))
    assert found.measured.skew_s[others] == pytest.approx(undisturbed.skew_s[others], abs=1e-12)
    assert page_html(page_content(found, "s.jsonl", None, None))


@pytest.mark.parametrize(
    "box", [{"board": "a board"}, {"board": [1]}, {"board": 7}, [], "box", None], ids=str
)
def test_a_box_of_the_wrong_type_in_the_header(measured: Path, tmp_path: Path, box: Any) -> None:
    header, *lines = (measured / "s.jsonl").read_bytes().splitlines()
    path = tmp_path / "s.jsonl"
    path.write_bytes(b"\n".join([orjson.dumps(orjson.loads(header) | {"box": box}), *lines, b""]))
    with pytest.raises(BadInput) as refusal:
        read_session(path)
    assert (
        str(refusal.value) == f"{path}: the header's 'box' is {box!r:.60}; the box's identity was expected."
    )


@pytest.mark.parametrize("place", ["file", "file/below", "/proc/here"])
def test_an_output_folder_that_cannot_be_made(measured: Path, tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("in the way")
    ran = run(["report", str(measured / "s.jsonl"), "--to", place], tmp_path)
    assert ran.code == 2
    assert "Traceback" not in ran.said
    assert ran.err.count("\n") >= 1
    assert (tmp_path / "file").read_text() == "in the way"
