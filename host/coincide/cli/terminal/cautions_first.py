"""Before the first real box on this machine: the cautions, shown and acknowledged, once for their wording."""

from __future__ import annotations

import sys

import click

from coincide.cli.terminal import show


def show_cautions(places: dict[str, str], *, aside: bool) -> None:
    """The cautions of places (key and heading of each), on standard error when they are not the result."""
    from coincide.cli.terminal.wiring_words import caution_lines
    from coincide_wiring.cautions import cautions_for

    say = show.aside if aside else show.say
    for place, title in places.items():
        say(f"\n{title}")
        for line in caution_lines(cautions_for(place)):
            say(line)


def cautions_first() -> None:
    """Return when they were acknowledged here, now or before. Raises BadInput when they are not.

    Only a person at a terminal is asked; a script is told what to do first.
    """
    from coincide.bench.acknowledge import acknowledge, acknowledged, require_acknowledgement
    from coincide_wiring.cautions import PLACES

    if acknowledged():
        return
    if at_a_terminal():
        show.aside(
            "A real box, for the first time on this machine (or the cautions have changed). Read them all:"
        )
        show_cautions(PLACES, aside=True)
        if click.confirm("\nRead, understood, and kept to?", default=None, err=True):
            show.aside(f"Acknowledged; kept in {acknowledge()}. You will not be asked again.")
            return
    require_acknowledgement()


def at_a_terminal() -> bool:
    """Whether somebody is there to read and to answer."""
    return sys.stdin.isatty() and sys.stderr.isatty()
