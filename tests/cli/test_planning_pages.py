"""The page about planning shows what the commands print, and its pictures are what it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.fen import DOCS, answer, changed, documented, fen_rig
from tests.cli.pages import console_blocks
from tests.cli.running import run


@pytest.fixture(scope="module")
def fen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with rig and calibration."""
    return fen_rig(tmp_path_factory.mktemp("fen")).parent


def test_the_card_as_json(fen: Path) -> None:
    found = answer(run(["card", "--to", "plan", "--json"], fen))
    documented(found, "card", basis=True)
    assert found["card"]["delay"] == "18.20 ms"
    assert [Path(one).name for one in found["files"]] == ["card.pdf", "card.png"]


@pytest.mark.parametrize(
    ("words", "shown"), console_blocks("planning.md"), ids=lambda value: " ".join(value)[:40]
)
def test_the_page_shows_what_the_commands_print(fen: Path, words: list[str], shown: list[str]) -> None:
    changed(fen, "turned", ('= "towards the scene"', '= "towards the photographer"'))
    printed = " ".join(run(words, fen).out.split())
    for part in shown:
        assert part in printed
    in_part = {"rig", "--aperture", "--subject-speed", "--turning"} & set(
        words
    ) or "budget --explain" in " ".join(words)
    if not in_part:
        assert printed == shown[0]


def test_the_pictures_on_the_page_are_there_and_small() -> None:
    page = (DOCS / "planning.md").read_text("utf-8")
    for name in re.findall(r"\]\((pictures/[^)]+)\)", page):
        assert (DOCS / name).stat().st_size < 200_000, name
