"""Every edge of a long session in the page: unpacked here by another hand, and by the page itself in a real browser."""

from __future__ import annotations

import base64
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import WebDriverWait

from coincide.report.page import content
from coincide.report.page.packed import Packed, pack_edges
from coincide.session.file import read_session
from tests.cli.running import run
from tests.report.page.browser import ABSENT, CHROMIUM, DRIVER, open_browser


def unpacked(packed: Packed) -> list[tuple[int, list[tuple[int, int, float]], list[float | None]]]:
    """By the description at the head of packed.py, one number at a time."""
    raw, at = zlib.decompress(base64.b64decode(packed.data)), 0

    def words(count: int) -> list[int]:
        nonlocal at
        planes = [raw[at + plane * count : at + (plane + 1) * count] for plane in range(4)]
        at += 4 * count
        return [struct.unpack("<I", bytes(each))[0] for each in zip(*planes, strict=True)]

    def signed(value: int) -> int:
        return -(value + 1) // 2 if value % 2 else value // 2

    numbers, counts = words(packed.pairs), words(packed.pairs)
    codes = list(raw[at : at + packed.edges])
    at += packed.edges
    gaps, mids = words(packed.edges), [words(packed.pairs), words(packed.pairs)]
    edges: list[list[tuple[int, int, float]]] = [[] for _ in counts]
    taken, now = 0, [0] * len(counts)
    for place in range(max(counts)):
        for pair, count in enumerate(counts):
            if place < count:
                now[pair] += signed(gaps[taken])
                edges[pair].append((codes[taken] // 2, codes[taken] % 2, now[pair] * packed.step_s))
                taken += 1
    number, found = 0, []
    for pair, step in enumerate(numbers):
        number += signed(step)
        mid = [signed(each[pair] - 1) * packed.step_s if each[pair] else None for each in mids]
        found.append((number, edges[pair], mid))
    assert at == len(raw)
    return found


def test_what_was_packed_comes_out_again() -> None:
    number = np.array([5, 6, 9])
    row, channel, level = np.array([0, 0, 0, 2, 2]), np.array([4, 4, 9, 0, 1]), np.array([1, 0, 1, 1, 0])
    time_s = np.array([-0.3, 0.0123456, 0.06, -1.0, 2.0])
    mid_s = np.array([[0.05, 0.061], [np.nan, np.nan], [-0.001, np.nan]])
    packed = pack_edges(number, row, channel, level, time_s, mid_s)
    assert packed is not None
    first, second, third = unpacked(packed)
    assert (first[0], second[0], third[0]) == (5, 6, 9)
    assert [one[:2] for one in first[1]] == [(4, 1), (4, 0), (9, 1)]
    assert [one[2] for one in first[1]] == pytest.approx([-0.3, 0.0123456, 0.06], abs=6e-8)
    assert second[1:] == ([], [None, None])
    assert third[2][0] == pytest.approx(-0.001)
    assert third[2][1] is None


def test_a_hundred_thousand_pairs_stay_small() -> None:
    """16 edges a pair, the box's own four as planned, the others jittering by a millisecond: with the pictures, which
    are thinned, the page stays below 5 MB."""
    rng, pairs, edges = np.random.default_rng(1), 100_000, 16
    time_s = np.sort(np.linspace(-0.3, 0.12, edges) + rng.normal(0.0, 1e-3, (pairs, edges)), axis=1)
    time_s[:, :4] = np.linspace(-0.3, -0.25, 4)
    packed = pack_edges(
        np.arange(1, pairs + 1),
        np.repeat(np.arange(pairs), edges),
        np.tile(np.arange(edges) // 2, pairs),
        np.tile(np.arange(edges) % 2, pairs),
        time_s.ravel(),
        rng.normal(0.06, 1e-3, (pairs, 2)),
    )
    assert packed is not None
    assert packed.step_s <= 1e-6
    assert len(packed.data) < 3_400_000


@pytest.mark.skipif(CHROMIUM is None or DRIVER is None, reason=ABSENT)
def test_a_pair_that_is_not_in_the_table_comes_by_its_number(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(content, "PAIRS_ON_PAGE", 6)
    assert run(["rig", "new"], tmp_path).code == 0
    assert run(["series", "-n", "14", "--out", "s.jsonl"], tmp_path).code == 0
    assert run(["report", "s.jsonl", "--to", "r"], tmp_path).code == 0
    session = read_session(tmp_path / "s.jsonl")
    with open_browser() as browser:
        browser.show(tmp_path / "r" / "s.html", 1400)
        driver = browser.driver
        shown = {
            int(str(one.get_attribute("data-pair")))
            for one in driver.find_elements(By.CSS_SELECTOR, "tr[data-pair]")
        }
        absent = min(set(range(1, 15)) - shown)
        field = driver.find_element(By.ID, "any-pair")
        field.send_keys(str(absent), Keys.ENTER)
        readout = driver.find_element(By.ID, "pair-readout")
        WebDriverWait(driver, 20).until(lambda _: readout.text.startswith(f"Pair {absent}: skew "))
        cells = driver.find_elements(By.CSS_SELECTOR, "#edge-list tbody td.n")
        listed = [float(str(one.get_attribute("textContent"))) for one in cells]
        mine = session.edges.tick[session.edges.row == absent - 1]
        apart_ms = np.diff(mine) / session.header.tick_hz * 1e3
        assert np.diff(listed) == pytest.approx(apart_ms, abs=3e-4)
        driver.find_element(By.CSS_SELECTOR, "button[data-do='next']").click()
        WebDriverWait(driver, 20).until(lambda _: readout.text.startswith(f"Pair {absent + 1}: skew "))
        field.clear()
        field.send_keys("99", Keys.ENTER)
        WebDriverWait(driver, 20).until(lambda _: "no pair 99" in readout.text)
