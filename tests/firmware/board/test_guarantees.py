"""docs/guarantees.md names tests that exist, one for every figure, and the figures are those of the code."""

from __future__ import annotations

import re
from pathlib import Path

from coincide_firmware.app.shots import EDGES_A_CHANNEL, EDGES_FIRST, EDGES_MOST
from tests.firmware.board.emulator import PLANS
from tests.firmware.board.loading import Loaded
from tests.firmware.board.plan_words import first_part_ticks, second_part_ticks

ROOT = Path(__file__).resolve().parents[3]
PAGE = (ROOT / "docs" / "guarantees.md").read_text(encoding="utf-8")
MODULES = dict(re.findall(r"^\| `([a-z]+\.[a-z_]+)` \| (\d+) \|", PAGE, re.MULTILINE))
NO_FIGURE = (
    *(
        "| Idle, a",
        "| `status`, from",
        "| `identify`, the",
        "| An edge, from",
        "| The start, power",
        "| The same, files as",
    ),  # named in the words above their table
    *("| ---", "| What", "| Fault", "| Module", "| all of them"),
    *(f"| `{name}`" for name in MODULES),
)
ROWS = [line for line in PAGE.splitlines() if line.startswith("| ") and not line.startswith(NO_FIGURE)]


def test_every_test_named_on_the_page_exists() -> None:
    written = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        if "node_modules" not in path.parts:
            written |= set(
                re.findall(r"^(?:def )?(test_\w+)(?:\(| = )", path.read_text(encoding="utf-8"), re.MULTILINE)
            )
    named = set(re.findall(r"`(test_\w+)`", PAGE))
    assert len(named) > 30
    assert named <= written, sorted(named - written)


def test_every_figure_names_its_test_or_says_that_it_has_none() -> None:
    assert len(ROWS) > 25
    for row in ROWS:
        assert "`test_" in row or "not by a test" in row, row


def test_the_page_says_what_has_not_been_seen() -> None:
    assert "not yet seen on hardware" in " ".join(PAGE.split())
    assert "## Not yet seen on hardware" in PAGE


def test_the_figures_are_the_codes() -> None:
    sampler = Loaded().use("board.sampler")
    sampling = sampler.sampling
    hz = 125_000_000
    loop = PLANS.closure_loop_cycles(hz)
    assert f"{sampling.RECORD_CYCLES} cycles, {sampling.RECORD_CYCLES * 8} ns" in PAGE
    assert f"the rings hold {sampler.RING_WORDS // 2 - 1}" in PAGE
    assert f"{EDGES_MOST} edges; of each channel the first {EDGES_FIRST}" in PAGE
    assert f"{EDGES_A_CHANNEL} at most" in PAGE
    assert f"{second_part_ticks(0xFFFFFFFF, loop) / hz:.1f} s by the hardware" in PAGE
    assert f"plus {PLANS.FIRST_PART_FIXED_CYCLES} cycles" in PAGE
    assert f"{loop + 4} cycles, {(loop + 4) * 8} ns" in PAGE
    assert f"heartbeat every {sampler.BEAT_MS // 1000} s" in PAGE
    assert f"({round(6 * 2**32 / hz)} s)" in PAGE
    held_s = (first_part_ticks(0xFFFFFFFF) + second_part_ticks(PLANS.hold_words(hz, loop)[0], loop)) / hz
    assert f"{held_s:.1f} s by the hardware alone" in PAGE
