"""Where the terminals of a case lie, in holes of 2.54 mm: one choice or several where leads can be bent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from coincide_wiring.circuits.model import Part
from coincide_wiring.circuits.packages import package_of

# Kinds that sit in the box's wall, on a lead or on the bench: the board has a pad for each of their wires.
OFF_BOARD = (
    *("jack_release", "jack_sync", "cell", "supply", "switch", "switch2", "button", "button2", "solenoid"),
    *("cutout", "loopback"),
)
# Kinds that are no part of any board.
NOT_ON_A_BOARD = ("board", "laptop", "insulator", "body", "metal")


@dataclass(frozen=True, slots=True)
class Footprint:
    """Terminal -> (columns, rows) from the upper left one, and how far the body reaches beyond them, in holes."""

    pads: Mapping[str, tuple[int, int]]
    beyond: tuple[float, float]


def _in_line(pads: tuple[str, ...], span: int, beyond: tuple[float, float]) -> tuple[Footprint, ...]:
    """Lying across and lying along, either way round."""
    ends = (pads, pads[::-1])
    across = [Footprint({pad: (span * at, 0) for at, pad in enumerate(one)}, beyond) for one in ends]
    along = [Footprint({pad: (0, span * at) for at, pad in enumerate(one)}, beyond[::-1]) for one in ends]
    return (*along, *across)


def _dual(count: int, turned: bool) -> Footprint:
    """Two rows 7.62 mm apart, terminal 1 upper left, anticlockwise; or turned by half a turn."""
    half = count // 2
    places = [(0, at) for at in range(half)] + [(3, half - 1 - at) for at in range(half)]
    if turned:
        places = [(3 - column, half - 1 - row) for column, row in places]
    return Footprint({str(number): place for number, place in enumerate(places, 1)}, (0.0, 0.4))


# By the beginning of the case's name: how many holes from lead to lead, how far the body reaches beyond.
SPANS: tuple[tuple[str, tuple[int, ...], tuple[float, float]], ...] = (
    ("axial, 0.25 W", (3, 4), (0.0, 0.4)),
    ("axial, DO-35", (3, 4), (0.0, 0.4)),
    ("axial, DO-41", (4,), (0.0, 0.5)),
    ("axial, DO-15", (5,), (0.0, 0.9)),
    ("axial, DO-201", (6,), (0.0, 1.0)),
    ("radial, 2.5 or 5 mm", (1, 2), (0.2, 0.5)),
    ("radial, 5 mm pitch, polarised", (2,), (1.3, 2.3)),
    ("radial, 5 mm pitch", (2,), (0.4, 0.6)),
    ("radial, 2 leads", (1,), (0.5, 0.6)),
    ("5 mm, radial", (1,), (0.5, 1.0)),
)


def footprints(part: Part) -> tuple[Footprint, ...]:
    """The ways in which a part can lie. Raises KeyError for a case that no board here has."""
    package = package_of(part)
    if package.name.startswith("DIP-"):
        count = len(package.pads)
        return (_dual(count, False), _dual(count, True))
    if package.name.startswith("TO-92"):
        return _in_line(("1", "2", "3"), 1, (0.4, 0.8))
    if package.name.startswith(("3 pins in line", "TO-220")):
        return _in_line(("1", "2", "3"), 1, (1.0, 1.0))
    if package.name.startswith("TO-243"):
        # The tab (2) on a wire of its own, well away from the other two: it carries the terminal's voltage.
        return (
            Footprint({"1": (0, 0), "3": (0, 2), "2": (4, 1)}, (0.3, 0.3)),
            Footprint({"1": (4, 0), "3": (4, 2), "2": (0, 1)}, (0.3, 0.3)),
            Footprint({"1": (0, 0), "3": (2, 0), "2": (1, 4)}, (0.3, 0.3)),
            Footprint({"1": (0, 4), "3": (2, 4), "2": (1, 0)}, (0.3, 0.3)),
        )
    for beginning, spans, beyond in SPANS:
        if package.name.startswith(beginning):
            pads = tuple(package.pads)
            return tuple(one for span in spans for one in _in_line(pads, span, beyond))
    raise KeyError(f"{part.ref}: no board here has room for '{package.name}'")
