"""The person at the terminal: told on standard error, asked there, shown a live view, heard at the Enter key."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

import click

from coincide.bench.person import (
    Opened,
    PairKept,
    Progress,
    Question,
    Read,
    SeriesBegun,
    SeriesOver,
    Shows,
    Step,
    ToDo,
)
from coincide.cli.terminal import show
from coincide.cli.terminal.enter import EnterKey
from coincide.cli.terminal.topics.circuits import NearChoice
from coincide.errors import BadInput

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

    from coincide.cli.terminal.live import LiveView


@contextmanager
def somebody_answers(question: str) -> Iterator[None]:
    """A question is put in here. Raises BadInput where nothing comes that could answer it, and no terminal is there."""
    try:
        yield
    except click.Abort as ended:
        nothing_came = isinstance(ended.__cause__ or ended.__context__, EOFError)
        if not nothing_came or sys.stdin.isatty():
            raise
        raise BadInput(
            f"Nobody is there to answer '{question:.200}': nothing more was done. Give --yes where the command has it "
            "and everything it asks for is so, or run it at a terminal."
        ) from None


class AtTerminal:
    """A `Person`. With `as_json` standard output belongs to the one object at the end; `bar` shows what is read."""

    def __init__(self, *, as_json: bool = False, bar: Bar | None = None) -> None:
        self._as_json = as_json
        self._enter = EnterKey()
        self._view: LiveView | None = None
        self._bar = bar

    @property
    def there(self) -> bool:
        """Whether somebody is there to read and to answer."""
        return sys.stdin.isatty() and sys.stderr.isatty()

    def tell(self, sentence: str) -> None:
        """On standard error; what stands in a list keeps its indent."""
        if self._view is not None:
            self._view.note(sentence)
        elif sentence.startswith("  - "):
            show.aside(show.wrapped(sentence[4:], "  - ", "    ", stream=sys.stderr))
        else:
            show.aside(sentence)

    def confirm(self, question: Question) -> bool:
        """Yes or no, on standard error."""
        lines = question.text.lstrip("\n")
        before = question.text[: -len(lines)]
        with somebody_answers(lines):
            return click.confirm(before + show.wrapped(lines, stream=sys.stderr), default=None, err=True)

    def ask(self, text: str, usual: str = "", choices: Sequence[str] = ()) -> str:
        """A word. Raises BadInput where standard input is no terminal and there is no usual answer."""
        kind = NearChoice(choices) if choices else None
        with somebody_answers(text):
            answer = click.prompt(
                text, default=usual or None, show_default=bool(usual), show_choices=False, type=kind, err=True
            )
        return str(answer)

    def progress(self, what: Progress) -> None:
        """Which box it is on standard output; steps, what they showed, the live view and bars on standard error."""
        match what:
            case Opened():
                (show.aside if self._as_json else show.say)(what.say)
            case SeriesBegun():
                from coincide.cli.terminal.live import LiveView

                self._view = LiveView(what.rig, what.pairs, what.running)
                self._view.open()
            case PairKept() if self._view is not None:
                self._view.take(what.shot, what.skew_s)
            case ToDo():
                if self._view is not None:
                    self._view.prompt(what.say)
                else:
                    show.aside(what.say)
            case SeriesOver() if self._view is not None:
                self._view.close()
                self._view = None
            case Step():
                show.aside(what.say)
            case Shows():
                from coincide.report.words.series import lateness

                show.aside(lateness(what.analysis))
            case Read() if self._bar is not None:
                self._bar.update(self._bar.task_ids[0], completed=what.done, total=what.of)
            case _:
                pass

    def wound(self) -> bool:
        """Enter says it."""
        return self._enter.pressed()

    def stop(self) -> bool:
        """Ctrl-C is heard where pairs are fired."""
        return False
