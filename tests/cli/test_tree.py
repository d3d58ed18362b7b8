"""Every command exists, teaches by an example, and is found from a near miss."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from coincide.cli import COMMANDS, coincide
from tests.cli.running import run


def leaves(command: click.Command, name: str) -> Iterator[tuple[str, click.Command]]:
    if isinstance(command, click.Group):
        context = click.Context(command)
        for child in command.list_commands(context):
            found = command.get_command(context, child)
            assert found is not None
            yield from leaves(found, f"{name} {child}")
    else:
        yield name, command


LEAVES = dict(leaves(coincide, "coincide"))


@pytest.mark.parametrize("name", LEAVES)
def test_help_has_a_sentence_and_an_example(name: str) -> None:
    help_text = LEAVES[name].help or ""
    assert help_text.split(".")[0]
    assert f"Example: {name}" in " ".join(help_text.replace("\b", "").split())


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
