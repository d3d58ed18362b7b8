"""Which circuits a box has, as options of a command."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeVar

import click

from coincide.bench.check.circuits import CIRCUITS, chosen_build

__all__ = ["NearChoice", "chosen_build", "circuit_options"]

if TYPE_CHECKING:
    Choice = click.Choice[str]
else:
    Choice = click.Choice

Command = TypeVar("Command", bound=Callable[..., Any])


class NearChoice(Choice):
    """A choice that, given a word it does not know, names the nearest it does."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        words = [str(word) for word in self.choices]
        if value not in words:
            near = get_close_matches(str(value), words, n=1, cutoff=0.4)
            hint = f" Did you mean '{near[0]}'?" if near else ""
            self.fail(f"'{value:.40}' is none of {', '.join(words)}.{hint}", param, ctx)
        return str(value)


def circuit_options(*, usual: bool) -> Callable[[Command], Command]:
    """`--sync-a` to `--gate-b`. With `usual` the plain circuits where not given, else None: as recorded."""

    def add(function: Command) -> Command:
        for body in ("b", "a"):
            for key, words, names in reversed(CIRCUITS):
                say = f"{words.capitalize()} of body {body.upper()}."
                function = click.option(
                    f"--{key}-{body}",
                    type=NearChoice(names),
                    default=names[0] if usual else None,
                    show_default=usual,
                    help=say if usual else f"{say} Kept with the box; as recorded when not given.",
                )(function)
        return function

    return add
