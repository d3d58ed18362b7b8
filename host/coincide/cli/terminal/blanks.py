"""A quantity that a shell cut in two: '15 km/h' without its quotes comes as two words."""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence

from coincide.cli.terminal.show import aside

_NUMBER = re.compile(r"[-+]?\d+(?:[.,]\d+)?")
_UNIT = re.compile(r"(?:m?s|[uµ]s|m|[mck]m|[uµ]m|ft|in|km/h|kmh|mph|m/s|deg/s|dpi|px|px/cm|%)")


def cut_in_two(words: Sequence[str]) -> str | None:
    """The first number that is followed by a unit as a word of its own; None where there is none."""
    for number, unit in itertools.pairwise(words):
        if _NUMBER.fullmatch(number) and _UNIT.fullmatch(unit):
            return f"{number} {unit}"
    return None


def say_what_wants_quotes(words: Sequence[str]) -> None:
    """A line of advice after a refusal, where that is what went wrong."""
    found = cut_in_two(words)
    if found is not None:
        joined = found.replace(" ", "")
        aside(f'A shell takes a blank for the end of a word: write "{found}" in quotes, or {joined}.')
