"""Symbols with more than two ends, drawn stroke by stroke on a `Sketch`."""

from __future__ import annotations

import schemdraw.elements as elm
from schemdraw.segments import SegmentCircle, SegmentPoly

from coincide_wiring.circuits.packages import package_of
from coincide_wiring.draw.sketch import LINE_PT, SMALL_PT, XY, Halign, Sketch, short_value


def _led_half(s: Sketch, x: float, top: float, bottom: float) -> None:
    """An LED pointing down between two stubs at x."""
    middle = (top + bottom) / 2
    s.stroke((x, top), (x, middle + 0.3))
    s.stroke((x, middle - 0.3), (x, bottom))
    s.shape(SegmentPoly([(x - 0.3, middle + 0.3), (x + 0.3, middle + 0.3), (x, middle - 0.3)], lw=LINE_PT))
    s.stroke((x - 0.3, middle - 0.3), (x + 0.3, middle - 0.3))
    for lift in (0.12, -0.2):
        s.arrow((x + 0.45, middle + lift), (x + 0.95, middle + lift))


TERMINAL_PT = 8.0


def terminals(s: Sketch, ref: str, places: dict[str, tuple[XY, Halign]]) -> None:
    """The numbers of the case's terminals beside the pins, as (where, alignment) by pin."""
    pads = {pin: pad for pad, pin in reversed(tuple(package_of(s.sheet.part(ref)).pads.items()))}
    for pin, (where, halign) in places.items():
        s.text(pads[pin], where, halign, "bottom", TERMINAL_PT)


def photorelay(s: Sketch, ref: str, at: XY) -> None:
    """MOSFET-output relay; `at` is the anode, cathode 2 below; outputs 4 to the right."""
    x, y = at
    s.shape(
        SegmentPoly(
            [(x + 0.4, y + 0.5), (x + 3.6, y + 0.5), (x + 3.6, y - 2.5), (x + 0.4, y - 2.5)], lw=LINE_PT
        )
    )
    s.stroke((x, y), (x + 1, y))
    s.stroke((x, y - 2), (x + 1, y - 2))
    _led_half(s, x + 1, y, y - 2)
    # Two transistors back to back, as one normally open contact that carries either polarity.
    s.stroke((x + 4, y), (x + 2.9, y), (x + 2.9, y - 0.55))
    s.stroke((x + 4, y - 2), (x + 2.9, y - 2), (x + 2.9, y - 1.45))
    s.stroke((x + 2.9, y - 1.45), (x + 2.45, y - 0.6))
    for end in (y - 0.55, y - 1.45):
        s.shape(SegmentCircle((x + 2.9, end), 0.06, fill="white", lw=LINE_PT))
    for pin, where in (
        ("anode", (x, y)),
        ("cathode", (x, y - 2)),
        ("out1", (x + 4, y)),
        ("out2", (x + 4, y - 2)),
    ):
        s.pin(ref, pin, where)
    terminals(
        s,
        ref,
        {
            "anode": ((x + 0.3, y + 0.05), "right"),
            "cathode": ((x + 0.3, y - 1.95), "right"),
            "out1": ((x + 3.7, y + 0.05), "left"),
            "out2": ((x + 3.7, y - 1.95), "left"),
        },
    )
    s.label(ref, (x + 2, y + 0.6), valign="bottom")


def optocoupler(s: Sketch, ref: str, at: XY) -> None:
    """Phototransistor coupler; `at` is the anode, cathode 3 below; collector and emitter 4 to the right."""
    x, y = at
    s.shape(
        SegmentPoly(
            [(x + 0.4, y + 0.4), (x + 3.6, y + 0.4), (x + 3.6, y - 3.4), (x + 0.4, y - 3.4)], lw=LINE_PT
        )
    )
    s.stroke((x, y), (x + 1, y))
    s.stroke((x, y - 3), (x + 1, y - 3))
    _led_half(s, x + 1, y, y - 3)
    s.stroke((x + 2.3, y - 0.9), (x + 2.3, y - 2.1), lw=2.2)
    s.stroke((x + 2.3, y - 1.25), (x + 3, y - 0.8), (x + 3, y), (x + 4, y))
    s.arrow((x + 2.3, y - 1.75), (x + 3, y - 2.2))
    s.stroke((x + 3, y - 2.2), (x + 3, y - 3), (x + 4, y - 3))
    places = (
        ("anode", (x, y)),
        ("cathode", (x, y - 3)),
        ("collector", (x + 4, y)),
        ("emitter", (x + 4, y - 3)),
    )
    for pin, where in places:
        s.pin(ref, pin, where)
    terminals(
        s,
        ref,
        {
            "anode": ((x + 0.3, y + 0.05), "right"),
            "cathode": ((x + 0.3, y - 2.95), "right"),
            "collector": ((x + 3.7, y + 0.05), "left"),
            "emitter": ((x + 3.7, y - 2.95), "left"),
        },
    )
    s.label(ref, (x + 2, y + 0.5), valign="bottom")


def triangle(s: Sketch, ref: str, at: XY, minus_on_top: bool = True) -> None:
    """Comparator or amplifier; `at` is the upper input, the lower 2 below; output 4 to the right, 1 below."""
    x, y = at
    s.shape(SegmentPoly([(x + 0.5, y + 0.8), (x + 0.5, y - 2.8), (x + 3.5, y - 1)], lw=LINE_PT))
    s.stroke((x, y), (x + 0.5, y))
    s.stroke((x, y - 2), (x + 0.5, y - 2))
    s.stroke((x + 3.5, y - 1), (x + 4, y - 1))
    s.text("−" if minus_on_top else "+", (x + 0.75, y), size=13)
    s.text("+" if minus_on_top else "−", (x + 0.75, y - 2), size=13)
    upper, lower = ("minus", "plus") if minus_on_top else ("plus", "minus")
    s.pin(ref, upper, (x, y))
    s.pin(ref, lower, (x, y - 2))
    s.pin(ref, "out", (x + 4, y - 1))
    s.stroke((x + 1.4, y + 0.26), (x + 1.4, y + 0.8))
    s.stroke((x + 1.4, y - 2.26), (x + 1.4, y - 2.8))
    s.rail(s.sheet.part(ref).pins["vcc"], s.pin(ref, "vcc", (x + 1.4, y + 0.8)))
    s.ground(s.pin(ref, "gnd", (x + 1.4, y - 2.8)))
    s.text(ref, (x + 1.85, y - 1), size=SMALL_PT)
    terminals(
        s,
        ref,
        {
            upper: ((x + 0.4, y + 0.05), "right"),
            lower: ((x + 0.4, y - 1.95), "right"),
            "out": ((x + 3.65, y - 0.95), "left"),
            "vcc": ((x + 1.5, y + 0.35), "left"),
            "gnd": ((x + 1.5, y - 2.8), "left"),
        },
    )


def open_collector(s: Sketch, at: XY) -> None:
    """The mark of an output that only pulls down: a diamond with a bar below (IEC 60617)."""
    x, y = at
    s.shape(SegmentPoly([(x - 0.14, y), (x, y + 0.14), (x + 0.14, y), (x, y - 0.14)], lw=LINE_PT))
    s.stroke((x - 0.14, y - 0.2), (x + 0.14, y - 0.2))


def npn(s: Sketch, ref: str, at: XY) -> None:
    """NPN transistor; `at` is the base; collector 1 to the right and 1 up, emitter 1 down."""
    x, y = at
    s.stroke((x, y), (x + 0.4, y))
    s.stroke((x + 0.4, y + 0.55), (x + 0.4, y - 0.55), lw=2.2)
    s.stroke((x + 0.4, y + 0.25), (x + 1, y + 0.65), (x + 1, y + 1))
    s.arrow((x + 0.4, y - 0.25), (x + 1, y - 0.65))
    s.stroke((x + 1, y - 0.65), (x + 1, y - 1))
    s.pin(ref, "base", (x, y))
    s.pin(ref, "collector", (x + 1, y + 1))
    s.pin(ref, "emitter", (x + 1, y - 1))
    s.text(ref, (x + 1.2, y), "left")
    for letter, where in (("B", (x + 0.1, y + 0.05)), ("C", (x + 1.25, y + 0.6)), ("E", (x + 1.25, y - 1.0))):
        s.text(letter, where, "center", "bottom", TERMINAL_PT)


def mosfet(s: Sketch, ref: str, at: XY) -> None:
    """Enhancement n-channel MOSFET; `at` is the gate; drain 1.2 right and 1 up, source 1 down."""
    x, y = at
    s.stroke((x, y), (x + 0.5, y))
    s.stroke((x + 0.5, y + 0.6), (x + 0.5, y - 0.6))
    for low, high in ((0.35, 0.7), (-0.17, 0.17), (-0.7, -0.35)):
        s.stroke((x + 0.7, y + low), (x + 0.7, y + high), lw=2.0)
    s.stroke((x + 0.7, y + 0.52), (x + 1.2, y + 0.52), (x + 1.2, y + 1))
    s.stroke((x + 0.7, y - 0.52), (x + 1.2, y - 0.52), (x + 1.2, y - 1))
    s.arrow((x + 1.2, y), (x + 0.72, y))
    s.stroke((x + 1.2, y), (x + 1.2, y - 0.52))
    s.pin(ref, "gate", (x, y))
    s.pin(ref, "drain", (x + 1.2, y + 1))
    s.pin(ref, "source", (x + 1.2, y - 1))
    s.label(ref, (x + 1.4, y + 0.1), "left")
    for letter, where in (("G", (x + 0.1, y + 0.05)), ("D", (x + 1.45, y + 0.6)), ("S", (x + 1.45, y - 1.0))):
        s.text(letter, where, "center", "bottom", TERMINAL_PT)


def limiter(s: Sketch, ref: str, at: XY) -> None:
    """Depletion n-channel MOSFET lying down; `at` is the drain, source 2 right, gate 1 right and 1.2 down."""
    x, y = at
    s.stroke((x, y), (x + 0.55, y), (x + 0.55, y - 0.4))
    s.stroke((x + 2, y), (x + 1.45, y), (x + 1.45, y - 0.4))
    s.stroke((x + 0.4, y - 0.4), (x + 1.6, y - 0.4), lw=2.4)
    s.stroke((x + 0.4, y - 0.6), (x + 1.6, y - 0.6))
    s.stroke((x + 1, y - 0.6), (x + 1, y - 1.2))
    s.arrow((x + 1, y), (x + 1, y - 0.38))
    s.stroke((x + 1, y), (x + 1.45, y))
    s.pin(ref, "drain", (x, y))
    s.pin(ref, "source", (x + 2, y))
    s.pin(ref, "gate", (x + 1, y - 1.2))
    s.label(ref, (x + 1, y + 0.5), valign="bottom")
    for letter, where in (
        ("D", (x + 0.2, y + 0.05)),
        ("S", (x + 1.8, y + 0.05)),
        ("G", (x + 1.25, y - 1.05)),
    ):
        s.text(letter, where, "center", "bottom", TERMINAL_PT)


def trimmer(s: Sketch, ref: str, top: XY) -> None:
    """A trimmer standing 2.4 high; wiper 1.2 below the top and 1 to the right."""
    x, y = top
    s.drawing.add(elm.ResistorIEC().at((x, y)).to((x, y - 2.4)))
    s.arrow((x + 1, y - 1.2), (x + 0.2, y - 1.2))
    s.pin(ref, "one", (x, y))
    s.pin(ref, "other", (x, y - 2.4))
    s.pin(ref, "wiper", (x + 1, y - 1.2))
    s.text(ref, (x - 0.4, y - 1.0), "right")
    s.text(short_value(s.sheet.part(ref)), (x - 0.4, y - 1.44), "right")


def contact(s: Sketch, one: XY, other: XY) -> None:
    """A push contact between two points on a horizontal line."""
    (x1, y), (x2, _) = one, other
    s.stroke((x1, y), (x1 + 0.5, y))
    s.stroke((x2 - 0.5, y), (x2, y))
    for x in (x1 + 0.5, x2 - 0.5):
        s.shape(SegmentCircle((x, y), 0.07, fill="white", lw=LINE_PT))
    s.stroke((x1 + 0.5, y), (x2 - 0.55, y + 0.45))
