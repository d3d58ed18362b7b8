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


WIDEST = 72
# Lines that are one line by what they are: a record of a session file, a message on the cable.
ONE_LINE = ("jsonl", "wire.md")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_an_example_is_no_wider_than_a_narrow_window(page: Path) -> None:
    for kind, block in re.findall(r"^```(\w*)\n(.*?)^```", page.read_text("utf-8"), re.M | re.S):
        if kind not in ONE_LINE and page.name not in ONE_LINE:
            assert [line for line in block.splitlines() if len(line) > WIDEST] == []


def commands_of(page: Path) -> list[str]:
    """Commands in fenced and indented blocks, and between backticks in the text."""
    text = page.read_text("utf-8")
    fenced = re.findall(r"^```\w*\n(.*?)^```", text, re.M | re.S)
    lines = [line for block in fenced for line in block.replace("\\\n", " ").splitlines()]
    bare = re.sub(r"^```.*?^```", "", text, flags=re.M | re.S)
    lines += [line for line in bare.splitlines() if line.startswith("    ")]
    lines = [line.removeprefix("$ ").strip() for line in lines if re.match(r"\s*(\$ )?coincide ", line)]
    # A word in capitals stands for the reader's own, and says nothing of how it is read.
    inline = [" ".join(found.split()) for found in re.findall(r"`(coincide [^`]+)`", bare)]
    return lines + [found for found in inline if not re.search(r"\b[A-Z]{3,}\b|\.\.\.|--json", found)]


def understood(words: list[str]) -> None:
    """Raises what click raises when the words cannot be parsed. A group by itself is named, not run."""
    command: click.Command = coincide
    context = click.Context(command)
    while isinstance(command, click.Group) and words and not words[0].startswith("-"):
        found = command.get_command(context, words[0])
        assert found is not None, words[0]
        command, words = found, words[1:]
    if words or not isinstance(command, click.Group):
        needed = any(isinstance(one, click.Argument) and one.required for one in command.params)
        bare = not words and (needed or any(one.required for one in command.params))
        if not bare:  # 'coincide report' in a sentence names the command
            command.make_context(command.name or "", words, resilient_parsing=False)


@pytest.mark.parametrize(
    "line", sorted({line for page in PAGES for line in commands_of(page)}), ids=lambda line: line[:60]
)
def test_a_command_on_a_page_is_one_that_is_understood(line: str) -> None:
    """Its words are parsed, not run: a page may name ports and files that only its reader has."""
    understood(shlex.split(line.split("#", maxsplit=1)[0])[1:])


RUN_AS_SHOWN = [
    line
    for name in ("build-the-box.md", "simulated-box.md")
    for line in commands_of(DOCS / name)
    if re.match(r"coincide (wiring(?! terminal)(?! cautions)|series --world)", line)
]


@pytest.mark.parametrize("line", RUN_AS_SHOWN, ids=lambda line: line[:40])
def test_a_command_shown_without_its_output_runs(tmp_path: Path, line: str) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    ran = run(shlex.split(line.split("#", maxsplit=1)[0])[1:], tmp_path)
    assert ran.code == 0, ran.said


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
