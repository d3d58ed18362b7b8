"""An exception at every line of `firmware/app` that a box runs through, in every state it runs through it: the outputs
are open at once, nothing closes that may not, the failure is on record or answered, and the box fires again.

CPython's tracing raises the exception where the line would have run, as a full memory or a mistake of ours would.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

import coincide_firmware
from tests.firmware.app.stand_in import Bench
from tests.firmware.app.test_failing import fires_again, whole_life
from tests.firmware.walking import no_collection

APP = str(Path(coincide_firmware.__path__[0]) / "app")
# Where an exception is an answer, not an accident: a line that cannot be read is refused.
ANSWERED = {"decode_line"}


@dataclass(frozen=True)
class Place:
    """A line of the application, with the state and the source of the shot while it runs."""

    file: str
    line: int
    state: int
    source: str


class Struck(Exception):
    """The step itself raised: main.py opens the outputs, keeps the record and restarts the box."""


class Over(Exception):
    """The step that was waited for is over; what comes after it in a whole life is of no interest."""


@pytest.fixture(autouse=True)
def _no_collection() -> Iterator[None]:
    with no_collection():
        yield


def lived(bench: Bench, at: Callable[[Place, int, FrameType], None], only: int = -1) -> None:
    """A whole life of the bench; `at(place, step, frame)` before every line of the application.

    With `only`, in the step of that number alone. Raises Struck where the loop ended, Over after the step `only`.
    """
    box = bench.box
    plain = box.step
    steps = 0

    def line(frame: FrameType, event: str, arg: object) -> Any:
        if event == "line":
            shot = box.shot
            name = Path(frame.f_code.co_filename).name
            at(Place(name, frame.f_lineno, shot.state, shot.source if shot.busy else ""), steps, frame)
        return line

    def call(frame: FrameType, event: str, arg: object) -> Any:
        return line if frame.f_code.co_filename.startswith(APP) else None

    def step() -> int:
        nonlocal steps
        steps += 1
        if only not in (-1, steps):
            return int(plain())
        sys.settrace(call)
        try:
            due = int(plain())
        except Exception as error:
            raise Struck from error
        finally:
            sys.settrace(None)
        if only == steps:
            raise Over
        return due

    box.step = step  # type: ignore[method-assign]
    try:
        for _ in whole_life(bench):
            pass
    finally:
        del box.step


def places() -> dict[Place, int]:
    """Every line that a whole life runs through in each state, with the number of the step in which it first does."""
    seen: dict[Place, int] = {}

    def at(place: Place, step: int, frame: FrameType) -> None:
        seen.setdefault(place, step)

    lived(Bench(), at)
    return seen


def judged(place: Place, step: int, error: Exception) -> None:
    """`error` comes at a place: outputs open, the failure known, the box as good as new, in this boot or the next."""
    bench = Bench()
    struck: list[str] = []

    def at(here: Place, _: int, frame: FrameType) -> None:
        if here == place and not struck:
            struck.append(frame.f_code.co_name)
            raise error

    try:
        lived(bench, at, step)
        raise AssertionError(f"{place} was not reached")
    except Struck:
        # What main.py does when the loop ends.
        bench.board.ensure_open()
        bench = Bench(bench.board.files)
    except Over:
        assert bench.board.outputs_closed() == 0 or struck[0] in ANSWERED, place
        box = bench.box
        assert box.crash.since_boot or bench.board.resets or struck[0] in ANSWERED, f"{place}: nobody knows"
    bench.run_ms(100)
    fires_again(bench)


def test_an_exception_at_every_line_opens_and_is_recorded() -> None:
    found = places()
    # Every line once, in the state in which it first runs; `make soak` takes every state and both errors.
    first = {(place.file, place.line): place for place in reversed(found)}
    assert len(first) > 700
    for number, place in enumerate(first.values()):
        judged(place, found[place], MemoryError() if number % 2 else ValueError("told to fail"))


@pytest.mark.soak
def test_an_exception_at_every_line_in_every_state_of_a_shot() -> None:
    found = places()
    assert len(found) > 1500
    for place, step in found.items():
        for error in (MemoryError(), ValueError("told to fail")):
            judged(place, step, error)
