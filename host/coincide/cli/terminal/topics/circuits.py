"""Which circuits a box has, as options of a command."""

from __future__ import annotations

from collections.abc import Callable
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeVar

import click

from coincide.bench.check.circuits import CIRCUITS, chosen_build
from coincide.cli.terminal import show

__all__ = ["NearChoice", "TerminalKind", "chosen_build", "circuit_options", "wiring_json"]

if TYPE_CHECKING:
    Choice = click.Choice[str]
    ParamType = click.ParamType[str]
else:
    Choice = click.Choice
    ParamType = click.ParamType

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


# What the trade calls the two terminals. A word that is not here gets no guess: the nearest spelling could lead to the
# looser of the two tables. 'cable' and 'shutter' alone are said of both.
TERMINAL_WORDS = {
    **dict.fromkeys(
        ("sync", "flash", "strobe", "pc", "x", "x-sync", "flash-sync", "pc-sync", "coaxial"), "sync"
    ),
    **dict.fromkeys(("hot-shoe", "hotshoe", "shoe", "flash-shoe", "accessory-shoe"), "sync"),
    **dict.fromkeys(("release", "remote", "remote-release", "cable-release"), "release"),
}
_KINDS_OF_SOCKET = ("-socket", "-contact", "-terminal", "-outlet", "-port")


class TerminalKind(ParamType):
    """'sync' or 'release', by any of the trade's words for them."""

    name = "kind"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        word = str(value).strip().lower().replace(" ", "-").replace("_", "-")
        for ending in _KINDS_OF_SOCKET:
            word = word.removesuffix(ending)
        if word not in TERMINAL_WORDS:
            say = (
                f"'{value:.40}' is neither of the two terminals: 'sync', where a flash would be joined (flash, pc, x, "
                "hot-shoe), or 'release', where a remote lead would be (remote, cable-release)."
            )
            self.fail(say, param, ctx)
        return TERMINAL_WORDS[word]


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


def wiring_json(name: str, result: dict[str, Any]) -> None:
    """Print the answer of `coincide wiring`, or of one of its subcommands ('-parts'), as JSON."""
    show.as_json({"format": f"coincide-wiring{name}-result", "version": 1, **result})
