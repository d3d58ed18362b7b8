"""Every page: its examples print what they show, its commands exist, its links and pictures lead somewhere."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from coincide.cli import coincide
from tests.cli.fen import DOCS
from tests.cli.pages import console_blocks
from tests.cli.running import run

PAGES = sorted([*DOCS.glob("**/*.md"), DOCS.parent / "README.md", DOCS.parent / "DEVELOPERS.md"])


@pytest.mark.parametrize(
    ("words", "shown"), console_blocks("at-the-light-table.md"), ids=lambda value: " ".join(value)[:40]
)
def test_the_light_table_shows_what_the_commands_print(
    tmp_path: Path, words: list[str], shown: list[str]
) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    printed = " ".join(run(words, tmp_path).out.split())
    for part in shown:
        assert part in printed


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_and_pictures_are_there(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)", page.read_text("utf-8")):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), target


def commands_of(page: Path) -> list[str]:
    text = page.read_text("utf-8")
    lines = [
        line for block in re.findall(r"^```\w*\n(.*?)^```", text, re.M | re.S) for line in block.splitlines()
    ]
    return [line.removeprefix("$ ").strip() for line in lines if re.match(r"\s*(\$ )?coincide ", line)]


@pytest.mark.parametrize(
    "line", sorted({line for page in PAGES for line in commands_of(page)}), ids=lambda line: line[:60]
)
def test_a_command_on_a_page_is_one_that_is_understood(line: str) -> None:
    """Its words are parsed, not run: a page may name ports and files that only its reader has."""
    words = shlex.split(line.split("#", maxsplit=1)[0])[1:]
    command: click.Command = coincide
    context = click.Context(command)
    while isinstance(command, click.Group):
        found = command.get_command(context, words[0])
        assert found is not None, words[0]
        command, words = found, words[1:]
    command.make_context(command.name or "", words, resilient_parsing=False)


def test_every_page_is_found_from_the_first() -> None:
    """From README.md by links alone: no page is an island."""
    seen, waiting = set(), [DOCS.parent / "README.md"]
    while waiting:
        page = waiting.pop()
        if page in seen:
            continue
        seen.add(page)
        for target in re.findall(r"\]\(([^)#]+\.md)", page.read_text("utf-8")):
            waiting.append((page.parent / target).resolve())
    assert {page.resolve() for page in PAGES if page.name != "DEVELOPERS.md"} <= seen


def test_every_decision_is_listed() -> None:
    listed = (DOCS / "decisions" / "README.md").read_text("utf-8")
    for page in (DOCS / "decisions").glob("*.md"):
        assert page.name == "README.md" or f"({page.name})" in listed
