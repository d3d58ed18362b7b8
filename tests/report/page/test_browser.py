"""The page in a real browser, as its reader meets it: at a desk, on a phone, in the dark, by keyboard, on paper."""

from __future__ import annotations

import json
import shutil
import subprocess
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.cli.running import run
from tests.report.page.browser import ABSENT, CHROMIUM, CONTRAST, DRIVER, Browser, open_browser, pages_of

pytestmark = pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason=ABSENT)
WIDTHS = (360, 800, 1400)
READABLE = 4.5  # WCAG 2.2, level AA, success criterion 1.4.3


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A calibration's two sessions, and the page about them."""
    made = tmp_path_factory.mktemp("page")
    assert run(["rig", "new"], made).code == 0
    done = json.loads(run(["calibrate", "-n", "24", "--verify", "16", "--json"], made).out)
    for name, key in (("s.jsonl", "measured"), ("f.jsonl", "fresh")):
        (made / done[key]["session"]).rename(made / name)
    assert run(["report", "s.jsonl", "--fresh", "f.jsonl", "--to", "r"], made).code == 0
    return made


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with open_browser() as opened:
        yield opened


@pytest.fixture
def desk(browser: Browser, folder: Path) -> Browser:
    browser.show(folder / "r" / "s.html", 1400)
    return browser


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", WIDTHS)
def test_it_opens_from_disk_and_fits(browser: Browser, folder: Path, width: int, scheme: str) -> None:
    page = folder / "r" / "s.html"
    browser.show(page, width, scheme)
    assert browser.logs("browser") == []
    assert {url for url in browser.requests() if not url.startswith("data:")} == {page.as_uri()}
    assert browser.run("return document.documentElement.scrollWidth") == width
    # No column lies unseen beyond the edge, but where a line says that the table can be swiped.
    folds = "document.querySelectorAll('details').forEach(one => { one.open = %s; })"
    browser.run(folds % "true")
    for table in browser.driver.find_elements(By.CSS_SELECTOR, ".tablebox"):
        hidden = browser.run("return arguments[0].scrollWidth - arguments[0].clientWidth", table)
        swiped = browser.run("return arguments[0].classList.contains('long')", table)
        assert hidden <= 1 or swiped, table.text
    browser.run(folds % "false")
    if width < 500:
        assert browser.driver.find_element(By.CSS_SELECTOR, ".swipe").is_displayed()
    for figure in browser.driver.find_elements(By.CSS_SELECTOR, "main figure"):
        drawings = [one for one in figure.find_elements(By.TAG_NAME, "svg") if one.is_displayed()]
        assert len(drawings) == 1
        # A drawing's letters keep a size one can read: they are not shrunk with it.
        smallest = browser.run(
            "return Math.min(...Array.from(arguments[0].querySelectorAll('text')).filter(t => t.textContent.trim())"
            ".map(t => { var m = t.getScreenCTM();"
            " return t.getBBox().height * Math.sqrt(Math.abs(m.a * m.d - m.b * m.c)); }))",
            drawings[0],
        )
        assert smallest > 7, figure.text


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [360, 1400])
def test_every_word_stands_out_from_its_ground(
    browser: Browser, folder: Path, width: int, scheme: str
) -> None:
    browser.show(folder / "r" / "s.html", width, scheme)
    browser.run("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    worst = browser.run(CONTRAST)
    assert worst[0][0] >= READABLE, worst
    grounds = browser.run("return getComputedStyle(document.body).backgroundColor")
    assert (grounds == "rgb(22, 24, 27)") == (scheme == "dark")


def test_a_screen_reader_finds_its_way(desk: Browser) -> None:
    roles = desk.roles()
    count = {role: sum(1 for found, _ in roles if found == role) for role, _ in roles}
    for landmark in ("banner", "navigation", "main", "contentinfo"):
        assert count[landmark] == 1, landmark
    assert all(
        name for role, name in roles if role in ("image", "img", "button", "link", "table", "combobox")
    )
    levels = desk.run("return Array.from(document.querySelectorAll('h1,h2,h3'), h => Number(h.tagName[1]))")
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    targets = desk.run(
        "return Array.from(document.querySelectorAll('a[href^=\"#\"]'), a => a.getAttribute('href').slice(1))"
    )
    assert all(desk.run("return document.getElementById(arguments[0]) !== null", one) for one in targets)
    ids = desk.run("return Array.from(document.querySelectorAll('[id]'), one => one.id)")
    assert len(ids) == len(set(ids))


def test_the_verdict_comes_first(desk: Browser) -> None:
    text = desk.driver.find_element(By.TAG_NAME, "body").text
    verdict = desk.driver.find_element(By.TAG_NAME, "h1").text
    assert verdict.startswith("Delay Lapwing (A) by ")
    assert verdict.endswith("within tolerance.")
    order = [verdict, "What to set\n", "Before and after\n", "Each body's behaviour\n", "Uncertainty\n"]
    order += ["Over the frame\n", "What it can photograph\n", "Every edge\n", "Cautions\n", "Provenance\n"]
    body = text[text.index("Provenance") + 1 :]  # the list of sections names them all before
    places = [text.index(verdict)] + [text.rindex(part, 0, len(text)) for part in order[1:]]
    assert places == sorted(places), body[:80]
    assert "cyclist on the dyke" in text


def readout(browser: Browser) -> str:
    return browser.driver.find_element(By.ID, "pair-readout").text


def edges_in(folder: Path, number: int) -> list[tuple[float, int]]:
    """(ms since the first full-press, channel) of a pair, from the session file itself."""
    lines = [json.loads(line) for line in (folder / "s.jsonl").read_text("utf-8").splitlines()]
    header = lines[0]
    (shot,) = [line for line in lines[1:] if line.get("shot") == number]
    packed, ticks = shot["edges"][::2], shot["edges"][1::2]  # twice the channel, plus the level
    full = [2 * index + 1 for index, name in enumerate(header["channels"]) if name.startswith("full")]
    zero = min(tick for code, tick in zip(packed, ticks, strict=True) if code in full)
    return [
        ((tick - zero) / header["tick_hz"] * 1e3, code // 2) for code, tick in zip(packed, ticks, strict=True)
    ]


def listed(browser: Browser) -> list[float]:
    found: list[str] = browser.run(
        "return Array.from(document.querySelectorAll('#edge-list tbody td.n'), cell => cell.textContent)"
    )
    return [float(text) for text in found]


def test_a_click_on_a_pair_draws_its_edges(desk: Browser, folder: Path) -> None:
    desk.driver.find_element(By.CSS_SELECTOR, "button[data-pair='7']").click()
    assert readout(desk).startswith("Pair 7: skew ")
    assert listed(desk) == pytest.approx([time for time, _ in edges_in(folder, 7)], abs=1e-4)
    lanes = len({channel for _, channel in edges_in(folder, 7)})
    drawing = desk.driver.find_element(By.CSS_SELECTOR, "#edges svg")
    assert len(drawing.find_elements(By.CSS_SELECTOR, "path[stroke]")) == lanes
    assert not drawing.find_elements(By.TAG_NAME, "image")
    row = desk.driver.find_element(By.CSS_SELECTOR, "tr.open")
    assert row.get_attribute("data-pair") == "7"
    assert row.find_elements(By.TAG_NAME, "td")[3].text in readout(desk)


def test_a_click_on_a_dot_draws_its_edges(desk: Browser, folder: Path) -> None:
    dots = desk.driver.find_elements(By.CSS_SELECTOR, ".wide [data-pair]")
    assert sorted(int(dot.get_attribute("data-pair") or "") for dot in dots) == list(range(1, 25))
    dot = desk.driver.find_element(By.CSS_SELECTOR, ".wide [data-pair='19']")
    desk.run("arguments[0].scrollIntoView({block: 'center'})", dot)
    dot.click()
    assert readout(desk).startswith("Pair 19: ")
    assert listed(desk) == pytest.approx([time for time, _ in edges_in(folder, 19)], abs=1e-4)
    # The dot is that pair: its height is the skew in the table.
    heights = desk.run(
        "return Array.from(document.querySelectorAll('.wide [data-pair]'), u =>"
        " [Number(u.dataset.pair), Number(u.getAttribute('y'))]).sort((p, q) => p[0] - q[0])"
    )
    cells = desk.driver.find_elements(By.CSS_SELECTOR, "tr[data-pair] td:nth-child(4)")
    skew = [float(desk.run("return arguments[0].textContent", cell)) for cell in cells]
    by_height = sorted(range(24), key=lambda at: -heights[at][1])
    assert by_height == sorted(range(24), key=lambda at: skew[at])


def axis(browser: Browser) -> list[float]:
    """The numbers along the time axis."""
    found: list[str] = browser.run(
        "return Array.from(document.querySelectorAll('#edges text[text-anchor=middle]'), t => t.textContent)"
    )
    return [float(text) for text in found if text.lstrip("-").replace(".", "").isdigit()]


def test_it_zooms_and_moves_by_buttons(desk: Browser) -> None:
    def press(what: str) -> list[float]:
        desk.driver.find_element(By.CSS_SELECTOR, f"button[data-do='{what}']").click()
        return axis(desk)

    whole = axis(desk)
    near = press("in")
    assert near[-1] - near[0] < whole[-1] - whole[0]
    for _ in range(14):
        near = press("in")
    assert near[-1] - near[0] < 0.1  # from a tenth of a second down to microseconds, still vectors
    assert desk.run("return document.querySelectorAll('#edges path').length") > 0
    before, after = axis(desk), press("right")
    assert after[0] > before[0]
    assert press("whole") == whole
    press("next")
    assert readout(desk).startswith("Pair 2: ")
    press("before")
    assert readout(desk).startswith("Pair 1: ")


def test_everything_can_be_done_by_keyboard(desk: Browser) -> None:
    def focused() -> dict[str, Any]:
        found: dict[str, Any] = desk.run(
            "var a = document.activeElement, r = a.getBoundingClientRect();"
            "return {tag: a.tagName, id: a.id, text: a.textContent.trim().slice(0, 30), what: a.dataset.do || '',"
            " pair: a.dataset.pair || '', on: r.left >= 0 && r.width > 0,"
            " ring: parseFloat(getComputedStyle(a).outlineWidth)}"
        )
        return found

    visited = []
    for _ in range(60):
        desk.driver.switch_to.active_element.send_keys(Keys.TAB)
        visited.append(focused())
        if visited[-1]["pair"] == "3":
            break
    assert visited[0]["text"] == "Skip to the verdict"
    assert visited[0]["on"]
    assert all(one["ring"] > 0 for one in visited if one["tag"] != "BODY"), visited
    whats = [one["what"] for one in visited if one["what"]]
    assert whats == ["before", "next", "in", "out", "left", "right", "whole"]
    assert "pair-choice" in [one["id"] for one in visited]
    desk.driver.switch_to.active_element.send_keys(Keys.ENTER)
    assert readout(desk).startswith("Pair 3: ")
    assert focused()["id"] == "edges"
    whole = axis(desk)
    edges = desk.driver.switch_to.active_element
    edges.send_keys("+")
    assert axis(desk)[-1] - axis(desk)[0] < whole[-1] - whole[0]
    before = axis(desk)
    edges.send_keys(Keys.ARROW_RIGHT)
    assert axis(desk)[-1] > before[-1]
    edges.send_keys("0")
    assert axis(desk) == whole
    edges.send_keys("-")
    assert axis(desk)[-1] - axis(desk)[0] > whole[-1] - whole[0]


def test_on_paper(desk: Browser, tmp_path: Path) -> None:
    paper = desk.pdf()
    assert paper.startswith(b"%PDF")
    assert 3 <= pages_of(paper) <= 8
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("the printed words are read back by pdftotext: apt-get install poppler-utils")
    (tmp_path / "page.pdf").write_bytes(paper)
    subprocess.run([reader, "-layout", "page.pdf", "page.txt"], cwd=tmp_path, check=True, timeout=60)
    text = (tmp_path / "page.txt").read_text("utf-8")
    first = " ".join(text.split("\f")[0].split())
    assert "Delay Lapwing (A) by" in first
    assert "What to set" in first
    assert "Zoom in" not in text  # buttons are of no use on paper
    assert "Where every number comes from" not in text  # folded away until it is opened
    for needed in ("Uncertainty", "Cautions", "Provenance", "cyclist on the dyke"):
        assert needed in text
