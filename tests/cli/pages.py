"""The examples on the pages of docs/: commands and what they print."""

from __future__ import annotations

import re

from tests.cli.fen import DOCS


def console_blocks(page: str) -> list[tuple[list[str], list[str]]]:
    """(arguments, parts of the output) of each example on a page; `[...]` stands for what was left out."""
    text = (DOCS / page).read_text("utf-8")
    found = []
    for block in re.findall(r"^```console\n(.*?)^```", text, re.MULTILINE | re.DOTALL):
        # A command too long for the page goes on after a backslash, as in a shell.
        command, shown = block.replace("\\\n", " ").split("\n", 1)
        words = [a or b for a, b in re.findall(r'"([^"]*)"|(\S+)', command.removeprefix("$ coincide "))]
        found.append((words, [" ".join(part.split()) for part in shown.split("[...]") if part.strip()]))
    return found


FIGURE = re.compile(r"\d+\.\d+")
SHARE, LEAST = 0.1, 0.3  # how far a simulated figure may be from the page's: of itself, and at the least


def end_of(part: str, printed: str, at: int) -> int | None:
    """Where `part` ends in what was printed from `at` on, or None where it is not there.

    Words, whole numbers and the places of every figure must be the page's. The figures of a simulated day shift with
    the firmware's pace; they must be near the page's, and no page need be written anew for the last digit.
    """
    figures = FIGURE.findall(part)
    words = [re.escape(one) for one in FIGURE.split(part)]
    places = [rf"(\d+\.\d{{{len(one.split('.')[1])}}})" for one in figures]
    shape = "".join(word + place for word, place in zip(words, [*places, ""], strict=True))
    shown = [float(one) for one in figures]
    for found in re.finditer(shape, printed[at:]):
        if all(
            abs(float(one) - page) <= max(SHARE * page, LEAST)
            for one, page in zip(found.groups(), shown, strict=True)
        ):
            return at + found.end()
    return None
