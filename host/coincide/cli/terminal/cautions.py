"""The cautions, shown at the terminal."""

from __future__ import annotations

from coincide.cli.terminal import show


def show_cautions(places: dict[str, str], *, aside: bool) -> None:
    """The cautions of places (key and heading of each), on standard error when they are not the result."""
    from coincide.cli.terminal.topics.wiring_words import caution_lines
    from coincide_wiring.cautions import cautions_for

    say = show.aside if aside else show.say
    for place, title in places.items():
        say(f"\n{title}")
        for line in caution_lines(cautions_for(place)):
            say(line)
