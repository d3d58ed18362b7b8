"""The lamp row's two boards: thirty-two lamps in line with their registers at the cable's far end, and the six
resistors at the box's end. Lamps must stand in a line at one pitch, so that board is drawn up and not filled by dice.
"""

from __future__ import annotations

import re
from dataclasses import replace

from coincide_wiring.circuits.model import Part, Sheet
from coincide_wiring.circuits.packages import package_of
from coincide_wiring.layout.footprints import Footprint
from coincide_wiring.layout.place import Placing, put_part, put_wire

ROW, CABLE = "lamp_row", "lamp_cable"
AT_THE_BOX = ("R81", "R82", "R83", "R84", "R85", "R86")
EACH = 8  # columns of a stage: the lamps stand a hole apart
FIRST = 2  # column of the first lamp
# Rows of the upper pins: lamps, their resistors, the registers, then the capacitors; room for wires between.
LAMPS_AT, RESISTORS_AT, REGISTERS_AT, CAPACITORS_AT, ROWS = 0, 5, 12, 18, 22
WIRES = ("3V3", "ROW_DATA", "GND", "ROW_CLOCK", "ROW_LATCH")


def boards_of(sheet: Sheet) -> tuple[Sheet, Sheet]:
    """The row's own board, every line of its bundles a net of its own, and the board of its lines at the box."""
    far = tuple(_unbundled(one) for one in sheet.parts if one.ref not in AT_THE_BOX)
    near = tuple(one for one in sheet.parts if one.ref in AT_THE_BOX)
    return Sheet(ROW, sheet.title, far), Sheet(CABLE, "Lamp row: its lines at the box", near)


def _unbundled(part: Part) -> Part:
    """'q' on 'LAMP_Q1[8]' becomes 'q[1]' on 'LAMP_Q1.1' and so on, as its case brings them out."""
    pins = {}
    for pin in package_of(part).pads.values():
        line = re.fullmatch(r"(\w+)\[(\d+)\]", pin)
        if line is None:
            pins[pin] = part.pins[pin]
        else:
            pins[pin] = f"{part.pins[line[1]].partition('[')[0]}.{line[2]}"
    return replace(part, pins=pins)


def placed(sheet: Sheet) -> Placing:
    """Where everything sits: lamps along the upper edge, under each bar its network and its register."""
    stages = sum(one.kind == "led_array" for one in sheet.parts)
    board = Placing(sheet, FIRST + stages * EACH + 1, ROWS, None, 0.0)
    for at, net in enumerate(WIRES):
        put_wire(board, net, (0, RESISTORS_AT + 2 * at))
    for stage in range(1, stages + 1):
        column = FIRST + (stage - 1) * EACH
        for ref, shape, row in (
            (f"LB8{stage}", STANDING, LAMPS_AT),
            (f"RN8{stage}", STANDING, RESISTORS_AT),
            (f"U8{stage}", TURNED, REGISTERS_AT),
            (f"C8{stage}", CAPACITOR, CAPACITORS_AT),
        ):
            put_part(board, sheet.part(ref), shape, (column, row))
    return board


def _lying(turned: bool) -> Footprint:
    """A case of sixteen pins along the board: 1 to 8 along its lower side from the left, 9 to 16 back along the upper
    one; or turned by half a turn."""
    places = [(at, 3) for at in range(EACH)] + [(EACH - 1 - at, 0) for at in range(EACH)]
    if turned:
        places = [(EACH - 1 - column, 3 - row) for column, row in places]
    return Footprint({str(number): place for number, place in enumerate(places, 1)}, (0.4, 0.0))


STANDING, TURNED = _lying(turned=False), _lying(turned=True)
CAPACITOR = Footprint({"1": (1, 0), "2": (3, 0)}, (0.2, 0.5))
