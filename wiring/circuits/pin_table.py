"""The firmware's pin table as rows and as Markdown, for the docs and the command line."""

from __future__ import annotations

from dataclasses import dataclass

from coincide_firmware.app.pin_words import PURPOSES
from coincide_firmware.app.pins import PINS


@dataclass(frozen=True, slots=True)
class PinRow:
    """One signal: `active` is the level that means closed, lit or pressed."""

    name: str
    gpio: int
    direction: str
    active: int
    body: str
    purpose: str


def pin_rows() -> tuple[PinRow, ...]:
    """The pin table, in its own order."""
    return tuple(PinRow(*row, PURPOSES[row[0]]) for row in PINS)


def as_markdown() -> str:
    """The pin table as a Markdown table; docs/build-the-box.md holds this text."""
    lines = ["| GPIO | signal | direction | active | what it is |", "|---|---|---|---|---|"]
    for row in pin_rows():
        level = "high" if row.active else "low"
        lines.append(f"| {row.gpio} | `{row.name}` | {row.direction} | {level} | {row.purpose} |")
    return "\n".join(lines)
