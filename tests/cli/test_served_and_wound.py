"""A rig wound by hand on a served box: the invented hand winds for it, and the person's Enter is heard once."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from coincide.box.simulated import serve as serving
from coincide.box.simulated.spec import WorldSpec
from coincide.cli.terminal.enter import EnterKey
from coincide.rig.file import parse_rig
from coincide.rig.new import TEMPLATE
from tests.cli.running import run


def served(folder: Path, monkeypatch: pytest.MonkeyPatch, *words: str) -> WorldSpec:
    """The world that 'coincide box serve' plays in a folder."""
    played: list[WorldSpec] = []
    monkeypatch.setattr(serving, "serve", lambda world, **_: played.append(world))
    ran = run(["box", "serve", *words], folder)
    assert ran.code == 0, ran.said
    return played[0]


def test_without_a_rig_the_box_plays_the_one_that_comes_next(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    world, rig = served(tmp_path, monkeypatch), parse_rig(TEMPLATE)
    assert [body.wind for body in world.bodies] == [body.wind for body in rig.both]
    assert world.hand.winds == any(body.wind == "manual" for body in rig.both)


def test_a_world_asked_for_is_played_as_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert served(tmp_path, monkeypatch, "missed fires").name == "missed fires"


class Typed:
    """A terminal at which these lines are typed; an empty one is Ctrl-D, and after the last it is gone."""

    def __init__(self, *lines: str) -> None:
        self.left = list(lines)

    def isatty(self) -> bool:
        return True

    def readline(self) -> str:
        return self.left.pop(0) if self.left else ""


def heard(key: EnterKey) -> bool:
    """Whether an Enter is heard before long: the key listens in a thread of its own."""
    given_up_s = time.monotonic() + 30
    while time.monotonic() < given_up_s:
        if key.pressed():
            return True
    return False


@pytest.mark.parametrize(
    "lines", [("\n",), ("", "\n"), ("", "", "", "\n")], ids=["Enter", "Ctrl-D first", "Ctrl-D thrice"]
)
def test_enter_is_not_listened_for_before_it_is_asked_for(
    lines: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    typed = Typed(*lines)
    monkeypatch.setattr(sys, "stdin", typed)
    key = EnterKey()
    assert typed.left == list(lines)  # a question asked before the first pair keeps its answer
    assert heard(key)
    assert not typed.left
    assert not key.pressed()
