"""The page on the simulated box lists the worlds there are, with their own words."""

from __future__ import annotations

from pathlib import Path

from coincide.box.simulated.worlds import WORLDS

PAGE = Path(__file__).parents[2] / "docs" / "simulated-box.md"


def test_the_page_lists_every_world() -> None:
    rows = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| ")]
    assert rows[1:] == [f"| {world.name} | {world.say} |" for world in WORLDS]
