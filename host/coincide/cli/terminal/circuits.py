"""Which circuits a box has, on the command line: the options, the questions, the table."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from coincide_wiring.netlist import Build

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


# Key of a build, words for the table, and the circuits there are, the usual one first.
CIRCUITS = (
    ("sync", "sync input", ("cell", "wetted", "high-voltage")),
    ("release", "release", ("contact", "solenoid")),
    ("gate", "gate sensors", ("load", "transimpedance")),
)
# What each circuit is for.
MEANS = {
    "cell": "mechanical contact",
    "wetted": "polarised semiconductor output",
    "high-voltage": "terminal that may carry high voltage",
    "contact": "closes the body's remote contacts",
    "solenoid": "pulls a mechanical cable release",
    "load": "photodiode with load",
    "transimpedance": "photodiode with amplifier, for dimmer lamps",
}


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


def chosen_build(chosen: Mapping[str, str | None], recorded: Build | None = None) -> Build:
    """The build the options name; where they name nothing `recorded`, or the plain circuits."""
    from coincide_wiring.netlist import Build

    was = Build() if recorded is None else recorded
    return Build(
        *(
            (chosen[f"{key}_a"] or getattr(was, key)[0], chosen[f"{key}_b"] or getattr(was, key)[1])
            for key, _, _ in CIRCUITS
        )
    )


def asked_build(recorded: Build) -> Build:
    """The build the person describes, circuit by circuit; Enter keeps what is recorded."""
    answers = {
        f"{key}_{body.lower()}": click.prompt(
            f"{words.capitalize()} of body {body} ({', '.join(names)})",
            type=NearChoice(names),
            default=was,
            show_choices=False,
            err=True,
        )
        for key, words, names in CIRCUITS
        for body, was in zip("AB", getattr(recorded, key), strict=True)
    }
    return chosen_build(answers, recorded)


def circuit_rows(build: Build) -> Iterator[tuple[str, str, str]]:
    """Rows: what, of body A, of body B."""
    for key, words, _ in CIRCUITS:
        one, other = (f"{name}: {MEANS[name]}" for name in getattr(build, key))
        yield words, one, other
