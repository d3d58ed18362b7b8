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
