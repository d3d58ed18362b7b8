"""Every command exists, teaches by an example, and is found from a near miss."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from coincide.cli import COMMANDS, coincide
from tests.cli.fen import DOCS
from tests.cli.running import run
from tests.cli.test_pages import understood


def leaves(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
    if isinstance(command, click.Group):
        context = click.Context(command)
        for child in command.list_commands(context):
            found = command.get_command(context, child)
            assert found is not None
            yield from leaves(found, f"{name} {child}")
    else:
        yield name, command


README = DOCS.parent / "README.md"
LEAVES = dict(leaves(coincide, "coincide"))


@pytest.mark.parametrize("name", LEAVES)
def test_help_has_a_sentence_and_an_example(name: str) -> None:
    help_text = LEAVES[name].help or ""
    assert help_text.split(".")[0]
    assert f"Example: {name}" in " ".join(help_text.replace("\b", "").split())


@pytest.mark.parametrize("name", LEAVES)
def test_the_examples_are_understood(name: str) -> None:
    """What help shows can be typed: each example is parsed as its command would."""
    told = " ".join((LEAVES[name].help or "").replace("\b", "").split())
    shown = told[told.index("Example:") :]
    examples = [f"coincide {part.strip()}" for part in re.split(r"\bcoincide ", shown)[1:]]
    assert examples
    for example in examples:
        understood(shlex.split(re.sub(r"(, or:?|,|;|\.)$", "", example))[1:])


def test_help_lists_every_command(tmp_path: Path) -> None:
    ran = run(["--help"], tmp_path)
    assert ran.code == 0
    for name in COMMANDS:
        assert f"  {name} " in ran.out


@pytest.mark.parametrize(
    ("typed", "meant"), [("calibate", "calibrate"), ("wach", "watch"), ("serie", "series")]
)
def test_a_near_miss_is_named(tmp_path: Path, typed: str, meant: str) -> None:
    ran = run([typed], tmp_path)
    assert ran.code == 2
    assert f"Did you mean '{meant}'?" in ran.err


def test_computing_commands_offer_json() -> None:
    """Everything that measures or works something out can be read by programs."""
    computing = {
        name
        for name in LEAVES
        if name.split()[1]
        in ("series", "watch", "calibrate", "ready", "limits", "budget", "exposure", "framelog", "report")
    }
    for name in computing:
        assert any("--json" in parameter.opts for parameter in LEAVES[name].params), name


def test_every_command_is_on_a_page_and_so_is_its_json() -> None:
    pages = {page.name: page.read_text("utf-8") for page in [README, *DOCS.glob("*.md")]}
    headings = re.findall(r"^### (.*--json.*)$", pages["formats.md"], re.MULTILINE)
    for name, command in LEAVES.items():
        assert any(name in page for page in pages.values()), f"{name} is shown on no page of docs/"
        if any("--json" in parameter.opts for parameter in command.params):
            words = set(name.split())
            found = any(words <= set(re.findall(r"[\w-]+", heading)) for heading in headings)
            assert found, f"docs/formats.md has no heading for {name} --json"
