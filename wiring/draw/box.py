"""Where things lie on the drawings of the box's own side. Layout only: names and values are the netlist's."""

from __future__ import annotations

import schemdraw.elements as elm
from schemdraw.segments import SegmentCircle

from coincide_firmware.app.pins import PINS
from coincide_wiring.circuits.box import LAMP_CABLE, LAMP_STAGES
from coincide_wiring.draw import symbols
from coincide_wiring.draw.sketch import SMALL_PT, Sketch, short_value


def board(s: Sketch) -> None:
    """The board in the middle, its signals to both sides, the laptop at the left."""
    left, right = [row for row in PINS if row[1] <= 12], [row for row in PINS if row[1] > 12]
    pins: dict[str, tuple[str, float]] = {"vbus": ("top", 1.5), "v3v3": ("top", 4.5), "gnd": ("bottom", 1.5)}
    pins["shield"] = ("bottom", 4.5)
    pins |= {f"gp{row[1]}": ("left", 0.9 + 0.85 * place) for place, row in enumerate(left)}
    pins |= {f"gp{row[1]}": ("right", 0.9 + 0.85 * place) for place, row in enumerate(right)}
    s.box("U1", (0, 0), (6, 10.4), pins, "U1\nmicrocontroller\nboard", names={"v3v3": "3V3"})
    for side, rows in (("left", left), ("right", right)):
        for row in rows:
            at = s.pins["U1", f"gp{row[1]}"]
            if row[0] == "beat":
                s.open_end("beat", at)
                s.text("beat: left open", (at[0] - 0.3, at[1]), "right", size=SMALL_PT)
            else:
                s.flag(row[0], at, side)
    s.rail("VBUS", (1.5, 10.9))
    s.rail("3V3", (4.5, 10.9))
    s.ground((1.5, -0.5))
    s.wire((4.5, -0.5), (4.5, -1.2))
    s.flag("USB_EARTH", (4.5, -1.2), "right")
    laptop = {"vbus": ("right", 0.8), "gnd": ("right", 1.8), "shield": ("right", 2.8)}
    s.box("X1", (-10, 3.6), (3, 3.6), laptop, "X1\nUSB")
    s.flag("VBUS", (-6.5, 6.4), "right")
    s.flag("GND", (-6.5, 5.4), "right")
    s.flag("USB_EARTH", (-6.5, 4.4), "right")
    for ref, x in (("C1", 11.5), ("C2", 14)):
        s.rail("3V3", (x, 9.4))
        s.capacitor(ref, (x, 9.4), (x, 7.4))
        s.ground((x, 7.4))
    s.insulator("E1", (10.6, 3), (14.6, 3), "plastic enclosure")
    s.wire((10.6, 3), (10.6, 2.3))
    s.ground((10.6, 2.3))
    s.wire((14.6, 3), (14.6, 2.3))
    s.flag("RIG_METAL", (14.6, 2.3), "right")


def _control_row(s: Sketch, number: int, signal: str, x: float, y: float) -> float:
    """Flag, pull-up, capacitor, series resistor; returns where the switch begins."""
    s.flag(signal, (x, y), "left")
    s.wire((x, y), (x + 0.8, y), (x + 3, y), (x + 3.8, y))
    s.resistor(f"R{number}1", (x + 0.8, y + 2), (x + 0.8, y))
    s.rail("3V3", (x + 0.8, y + 2))
    s.capacitor(f"C{number}1", (x + 3, y), (x + 3, y - 1.6))
    s.ground((x + 3, y - 1.6))
    s.resistor(f"R{number}2", (x + 3.8, y), (x + 6, y))
    return x + 6


def controls(s: Sketch) -> None:
    """Two columns: the two-stage button at the left, interlock and small buttons at the right."""
    for number, signal, y, pin in ((60, "button_half", 0.0, "half"), (61, "button_full", -5.2, "full")):
        x = _control_row(s, number, signal, 0, y)
        s.wire((x, y), (x + 0.5, y))
        symbols.contact(s, (x + 0.5, y), (x + 2.3, y))
        s.pin("S60", pin, (x + 0.5, y))
        s.text(pin, (x + 1.05, y + 0.65), "right", size=SMALL_PT)
    s.stroke((8.3, 0), (8.3, -5.2))
    s.stroke((7.4, 0.25), (7.4, -4.95), dashed=True)
    s.shape(SegmentCircle((8.3, -5.2), 0.07, fill="black"))
    s.pin("S60", "common", (8.3, -5.2))
    s.wire((8.3, -5.2), (8.3, -6.2))
    s.ground((8.3, -6.2))
    s.text("S60", (8.5, -2.6), "left")
    s.text("two-stage\nbutton", (8.5, -3.4), "left", size=SMALL_PT)
    rows = (
        (62, "interlock", "closed = may fire"),
        (63, "wound", "button or foot switch"),
        (64, "preset", "button"),
    )
    for (number, signal, words), y in zip(rows, (2.6, -2.6, -7.8), strict=True):
        x = _control_row(s, number, signal, 15, y)
        s.wire((x, y), (x + 0.5, y))
        symbols.contact(s, (x + 0.5, y), (x + 2.3, y))
        s.pin(f"S{number}", "one", (x + 0.5, y))
        s.pin(f"S{number}", "other", (x + 2.3, y))
        s.wire((x + 2.3, y), (x + 2.8, y), (x + 2.8, y - 0.6))
        s.ground((x + 2.8, y - 0.6))
        s.text(f"S{number}", (x + 1.4, y + 0.7))
        s.text(words, (x + 1.4, y + 1.2), size=SMALL_PT)
    _second_pole(s)


def _second_pole(s: Sketch) -> None:
    """The interlock's other pole, worked by the same lever: the isolators' way to ground."""
    x, y = 3.0, -9.6
    s.flag("LED_RETURN", (x, y), "left")
    symbols.contact(s, (x, y), (x + 1.8, y))
    s.pin("S62", "return1", (x, y))
    s.pin("S62", "return2", (x + 1.8, y))
    s.text("S62, second pole", (x + 0.9, y + 0.7))
    s.text("the isolators' way to ground", (x + 0.9, y + 1.2), size=SMALL_PT)
    s.wire((x + 1.8, y), (x + 2.3, y), (x + 2.3, y - 0.6))
    s.ground((x + 2.3, y - 0.6))


def lights(s: Sketch) -> None:
    """The blue and the orange LED side by side."""
    for number, signal, colour, x in ((70, "led_ok", "blue", 0.0), (71, "led_out", "orange", 11.0)):
        s.flag(signal, (x, 0), "left")
        s.wire((x, 0), (x + 0.7, 0), (x + 1.5, 0))
        s.resistor(f"R{number}2", (x + 0.7, 0), (x + 0.7, -2))
        s.ground((x + 0.7, -2))
        s.resistor(f"R{number}1", (x + 1.5, 0), (x + 4, 0))
        symbols.npn(s, f"Q{number}", (x + 4, 0))
        s.wire((x + 5, -1), (x + 5, -2))
        s.ground((x + 5, -2))
        s.diode(f"D{number}", (x + 5, 3), (x + 5, 1), elm.LED(), side=-1)
        s.text(colour, (x + 6, 2), "left", size=SMALL_PT)
        s.resistor(f"R{number}3", (x + 5, 5), (x + 5, 3))
        s.rail("VBUS", (x + 5, 5))


def lamp_row(s: Sketch) -> None:
    """Four stages one below another, clock and latch as buses at the left."""
    for place, (series, signal, net) in enumerate(LAMP_CABLE):
        x = 1.6 + 7.0 * place
        s.flag(signal, (x - 0.3, 4.6), "left")
        s.wire((x - 0.3, 4.6), (x, 4.6), (x + 0.3, 4.6))
        s.resistor(f"R8{place + 1}", (x, 4.6), (x, 2.6))
        s.ground((x, 2.6))
        s.resistor(series, (x + 0.3, 4.6), (x + 2.1, 4.6))
        s.flag(net, (x + 2.1, 4.6), "right")
    pins: dict[str, tuple[str, float]] = {
        "data": ("left", 0.6),
        "clock": ("left", 1.3),
        "latch": ("left", 2.0),
        "clear": ("left", 2.7),
        "enable": ("left", 3.4),
        "vcc": ("right", 0.5),
        "gnd": ("bottom", 1.5),
        "q": ("right", 1.3),
        "next": ("right", 3.4),
    }
    for stage in range(1, LAMP_STAGES + 1):
        y = -6.0 * (stage - 1) - 3.6
        top = y + 4.0
        s.box(f"U8{stage}", (4, y), (3, 4), pins, names={"q": "Q0-7", "next": "next"})
        if stage == 1:
            s.flag("ROW_DATA", (3.5, top - 0.6), "left")
        s.flag("ROW_CLOCK", (3.5, top - 1.3), "left")
        s.flag("ROW_LATCH", (3.5, top - 2.0), "left")
        s.wire((3.5, top - 2.7), (0.6, top - 2.7))
        s.flag("3V3", (0.6, top - 2.7), "left")
        s.wire((3.5, top - 3.4), (3.5, top - 3.9))
        s.ground((3.5, top - 3.9))
        s.flag("3V3", (7.5, top - 0.5), "right")
        s.ground((5.5, y - 0.5))
        if stage < LAMP_STAGES:
            s.wire(
                (7.5, top - 3.4), (8, top - 3.4), (8, y - 1.4), (3.2, y - 1.4), (3.2, y - 2.6), (3.5, y - 2.6)
            )
        else:
            s.open_end("nc_lamp_end", (7.5, top - 3.4))
        row = top - 1.3
        s.box(
            f"RN8{stage}",
            (9.5, row - 0.5),
            (2.6, 1),
            {"one": ("left", 0.5), "other": ("right", 0.5)},
            names={"one": "", "other": ""},
        )
        s.wire((7.5, row), (9, row))
        s.box(
            f"LB8{stage}",
            (14.2, row - 0.5),
            (3, 1),
            {"anodes": ("left", 0.5), "cathode": ("right", 0.5)},
            f"LB8{stage} 8 lamps",
            names={"anodes": "", "cathode": ""},
        )
        s.wire((12.6, row), (13.7, row))
        for x in (8.8, 13.15):
            s.stroke((x - 0.12, row - 0.2), (x + 0.12, row + 0.2))
            s.text("8", (x, row + 0.25), valign="bottom", size=SMALL_PT)
        s.text(short_value(s.sheet.part(f"RN8{stage}")), (10.8, row + 0.6), valign="bottom", size=SMALL_PT)
        s.wire((17.7, row), (18.1, row), (18.1, row - 0.5))
        s.ground((18.1, row - 0.5))
        s.rail("3V3", (10.8, row - 1.5))
        s.capacitor(f"C8{stage}", (10.8, row - 1.5), (10.8, row - 2.9))
        s.ground((10.8, row - 2.9))
