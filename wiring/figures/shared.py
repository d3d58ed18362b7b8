"""What the figures of several circuits share: the board's rail and outputs, and a resistor's spread."""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Part
from coincide_wiring.figures.figure import Span, about

RAIL = about(specs.BOARD["rail_v"], specs.BOARD["rail_tolerance"])
OUTPUT_OHM: Span = (specs.BOARD["output_ohm"], 20.0, specs.BOARD["output_ohm_max"])


def ohm(one: Part) -> Span:
    """(nominal, least, most) of a resistor."""
    return about(one.value("resistance_ohm"), one.value("tolerance"))
