"""A pad board: holes at 2.54 mm, one pad a hole; what sits in which hole, and what joins the holes.

A hole is (column, row), counted from the upper left corner as seen from the parts' side.
"""

from __future__ import annotations

import string
from collections.abc import Mapping
from dataclasses import dataclass

PITCH_MM = 2.54
PAD_MM = 2.0  # diameter of a pad; one ring of copper round each hole
WIRE_MM = 0.8  # width of a bare wire run with its solder

Hole = tuple[int, int]


def hole_name(hole: Hole) -> str:
    """'C7': the column's letter (AA after Z), the row's number from 1."""
    column, row = hole
    letters = string.ascii_uppercase
    high, low = divmod(column, len(letters))
    return f"{letters[high - 1] if high else ''}{letters[low]}{row + 1}"


@dataclass(frozen=True, slots=True)
class Placed:
    """A part on the board, or the wires to one that sits elsewhere (`off_board`). `pads`: terminal -> hole; `body`: the
    corners (left, top, right, bottom) of what lies on the board, in holes."""

    ref: str
    pads: Mapping[str, Hole]
    body: tuple[float, float, float, float]
    off_board: bool


@dataclass(frozen=True, slots=True)
class Layout:
    """A board. `runs`: bare wires on the copper side, each a chain of neighbouring holes; `links`: insulated wires from
    hole to hole; `drilled`: holes whose pad is drilled away; `live_mm`: the distance that was kept between `groups` of
    nets that high voltage or isolation keeps apart."""

    name: str
    title: str
    columns: int
    rows: int
    placed: tuple[Placed, ...]
    runs: tuple[tuple[Hole, ...], ...]
    links: tuple[tuple[Hole, Hole], ...]
    drilled: frozenset[Hole]
    groups: Mapping[str, int]

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the board, half a pitch beyond the outer holes."""
        return self.columns * PITCH_MM, self.rows * PITCH_MM
