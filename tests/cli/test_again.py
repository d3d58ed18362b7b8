"""Next steps that are printed work as printed: the rig file that was named stays in them."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from coincide.cli import coincide
from coincide.cli.terminal.again import TAKE_RIG, Given
from tests.cli.running import run


def commands(group: click.Group, names: tuple[str, ...] = ()) -> dict[str, click.Command]:
    context = click.Context(group)
    found: dict[str, click.Command] = {}
    for name in group.list_commands(context):
        one = group.get_command(context, name)
        assert one is not None
        if isinstance(one, click.Group):
            found |= commands(one, (*names, name))
        else:
            found[" ".join((*names, name))] = one
    return found


def test_every_command_that_takes_a_rig_is_repeated_with_it() -> None:
    takes = {name for name, one in commands(coincide).items() if any("--rig" in p.opts for p in one.params)}
    assert takes == set(TAKE_RIG)


@pytest.mark.parametrize(
    ("said", "repeated"),
    [
        ("run 'coincide calibrate'.", "run 'coincide calibrate --rig \"my rig.toml\"'."),
        ("coincide limits, or so", 'coincide limits --rig "my rig.toml", or so'),
        ("To go on: coincide series --rig other.toml", "To go on: coincide series --rig other.toml"),
        ("coincide rig new", "coincide rig new"),
        ("coincide rig check other.toml", "coincide rig check other.toml"),
    ],
)
def test_what_is_repeated(said: str, repeated: str) -> None:
    assert Given(Path("my rig.toml")).repeated(said) == repeated
    assert Given().repeated(said) == said


def test_the_steps_that_are_printed_run(tmp_path: Path) -> None:
    """Each command in each answer, typed as it stands there."""
    (tmp_path / "rigs").mkdir()
    rig = "rigs/other.toml"
    assert run(["rig", "new", rig], tmp_path).code == 0
    steps = []
    for words in (
        ["limits"],
        ["ready"],
        ["calibrate"],
        ["limits"],
        ["series", "-n", "12"],
        ["exposure", "EV 12"],
    ):
        ran = run([*words, "--rig", rig], tmp_path)
        steps += re.findall(r"coincide ([a-z][^'\n,;:]*?)(?=['\n,;:]|\.? *$|\. )", ran.said, re.M)
    assert len(steps) >= 4
    for step in dict.fromkeys(steps):
        again = run([*shlex.split(step), *(["--to", "page"] if step.startswith("report") else [])], tmp_path)
        assert again.code in (0, 1), (step, again.said)
