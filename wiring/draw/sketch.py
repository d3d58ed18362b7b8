"""Drawing a sheet while remembering the geometry, so that a drawing can be compared with its netlist.

A `Sketch` places the parts of one `Sheet`, wires and net flags on a grid (schemdraw units). Every pin keeps
its coordinates; `joined` follows the lines as an eye does (ends that touch are joined, lines that merely
cross are not) and tells which pins the picture connects. Labels come from the netlist, never from the layout.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import pairwise
from typing import Any, Literal

import schemdraw
import schemdraw.elements as elm
from schemdraw.segments import Segment, SegmentCircle, SegmentPoly, SegmentText

from coincide_wiring.circuits.box import ohms
from coincide_wiring.circuits.model import Part, Sheet

XY = tuple[float, float]
Halign = Literal["left", "center", "right"]
Valign = Literal["top", "center", "bottom"]
LABEL_PT, SMALL_PT, TITLE_PT = 10.0, 9.0, 13.0
LINE_PT = 1.3
INCHES_PER_UNIT = 0.5
CLOSE = 1e-6


# What a resistor and a capacitor stand where the drawing says nothing; see the parts list.
USUAL_W, USUAL_V = 0.25, 50.0


# What else says its value on a drawing, by kind, from its own values.
SHOWN = {
    "cell": "{voltage_v:g} V",
    "supply": "{supply_v:g} V =",
    "zener": "{zener_v:g} V",
    "fuse": "{hold_a:g} A",
    "cutout": "{opens_c:g} °C",
    "solenoid": "{coil_ohm:g} Ω",
    "diode": "{reverse_max_v:g} V",
    "photorelay": "{contact_max_v:g} V {contact_max_a:g} A",
    "suppressor": "{standoff_v:g} V",
    "mosfet": "{drain_max_v:g} V",
    "limiter": "{drain_max_v:g} V",
}


def short_value(one: Part) -> str:
    """A part's value as a drawing shows it, with its rating; empty where the reference says enough."""
    match one.kind:
        case "resistor" | "trimmer":
            power_w = one.value("power_w")
            return ohms(one.value("resistance_ohm")) + (f" {power_w:g} W" if power_w > USUAL_W else "")
        case "resistor_array":
            return f"8 × {ohms(one.value('resistance_ohm'))}"
        case "capacitor":
            rating_v = one.value("rating_v")
            return farads(one.value("capacitance_f")) + (f" {rating_v:g} V" if rating_v != USUAL_V else "")
        case "optocoupler":
            return f"{one.value('ratio_min'):.0%} at {one.value('ratio_at_a') * 1e3:g} mA"
        case _:
            return SHOWN.get(one.kind, "").format_map(one.values)


def farads(value: float) -> str:
    """A capacitance as people write it: 6.8 pF, 100 nF, 10 µF."""
    for scale, prefix in ((1e-6, "µ"), (1e-9, "n"), (1e-12, "p")):
        if value >= scale * 0.999:
            return (
                f"{value / scale:.3g} {prefix}F"
                if value < scale * 999.5
                else f"{value / scale:.0f} {prefix}F"
            )
    return f"{value:g} F"


class Sketch:
    """One sheet being drawn."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        self.pins: dict[tuple[str, str], XY] = {}
        self.flags: list[tuple[str, XY]] = []
        self.names: list[tuple[str, XY]] = []
        self.lines: list[tuple[XY, XY]] = []
        self.drawing = schemdraw.Drawing(canvas="svg", show=False)
        self.drawing.config(
            unit=2.0, inches_per_unit=INCHES_PER_UNIT, fontsize=LABEL_PT, lw=LINE_PT, font="sans", margin=0.4
        )

    # -- primitives -------------------------------------------------------------------------------------

    def shape(self, *segments: Any) -> None:
        """Raw segments in sheet coordinates."""
        element = elm.Element()
        element.segments.extend(segments)
        self.drawing.add(element.at((0, 0)).theta(0))

    def stroke(self, *points: XY, dashed: bool = False, lw: float = LINE_PT) -> None:
        """A line that is part of a symbol: it connects nothing."""
        self.shape(Segment(list(points), lw=lw, ls="--" if dashed else "-"))

    def text(
        self, words: str, at: XY, halign: Halign = "center", valign: Valign = "center", size: float = LABEL_PT
    ) -> None:
        """Words on the sheet. Placed by their centre line, as viewers disagree on where a text's top is."""
        half = size / 72 / INCHES_PER_UNIT / 2
        lift = {"bottom": half, "center": 0.0, "top": -half}[valign] - 0.35 * half
        self.shape(SegmentText((at[0], at[1] + lift), words, align=(halign, "center"), fontsize=size))

    def arrow(self, start: XY, end: XY) -> None:
        """A small arrow inside a symbol."""
        self.shape(Segment([start, end], arrow="->", arrowwidth=0.14, arrowlength=0.18, lw=1.0))

    def wire(self, *points: XY) -> None:
        """A connecting line through the points."""
        for start, end in pairwise(points):
            self.lines.append((start, end))
        self.shape(Segment(list(points), lw=LINE_PT))

    def pin(self, ref: str, pin: str, at: XY) -> XY:
        """Record where a pin of a part lies. Raises KeyError for a part or pin the sheet has not."""
        if pin not in self.sheet.part(ref).pins:
            raise KeyError(f"{ref} has no pin '{pin}'")
        self.pins[ref, pin] = at
        return at

    def label(
        self, ref: str, at: XY, halign: Halign = "center", valign: Valign = "center", note: str = ""
    ) -> None:
        """Reference and value of a part."""
        one = self.sheet.part(ref)
        words = " ".join(word for word in (ref, note or short_value(one)) if word)
        self.text(words, at, halign, valign)

    # -- nets -------------------------------------------------------------------------------------------

    def flag(self, net: str, at: XY, side: str) -> None:
        """A named end of a wire; `side` is where the flag lies: 'left', 'right'."""
        self.flags.append((net, at))
        width, half, tip = 0.17 * len(net) + 0.3, 0.26, 0.25
        sign = -1 if side == "left" else 1
        x, y = at
        outline = [(x, y), (x + sign * tip, y + half), (x + sign * (tip + width), y + half)]
        outline += [(x + sign * (tip + width), y - half), (x + sign * tip, y - half)]
        self.shape(SegmentPoly(outline, lw=1.0, fill=None))
        self.text(net, (x + sign * (tip + width / 2), y), size=SMALL_PT)

    def name(
        self, net: str, at: XY, words_at: XY, halign: Halign = "center", valign: Valign = "bottom"
    ) -> None:
        """A net's name beside a wire that passes `at`."""
        self.names.append((net, at))
        self.text(net, words_at, halign, valign, SMALL_PT)

    def rail(self, net: str, at: XY) -> None:
        """A supply rail above a point: a bar with the net's name."""
        self.flags.append((net, at))
        x, y = at
        self.stroke((x, y), (x, y + 0.35))
        self.stroke((x - 0.35, y + 0.35), (x + 0.35, y + 0.35), lw=2.0)
        self.text(net, (x, y + 0.45), valign="bottom", size=SMALL_PT)

    def ground(self, at: XY, net: str = "GND") -> None:
        """The ground symbol below a point."""
        self.flags.append((net, at))
        x, y = at
        self.stroke((x, y), (x, y - 0.3))
        for half, down in ((0.38, 0.3), (0.25, 0.43), (0.1, 0.56)):
            self.stroke((x - half, y - down), (x + half, y - down))

    def open_end(self, net: str, at: XY) -> None:
        """A pin deliberately left unconnected: a cross."""
        self.flags.append((net, at))
        x, y = at
        self.stroke((x - 0.15, y - 0.15), (x + 0.15, y + 0.15))
        self.stroke((x - 0.15, y + 0.15), (x + 0.15, y - 0.15))

    # -- parts with two ends ----------------------------------------------------------------------------

    def two(self, ref: str, element: Any, start: XY, end: XY, pins: tuple[str, str], side: int = 1) -> None:
        """A part between two points, `pins` at start and end; `side` +1 puts its label above or to the right."""
        self.drawing.add(element.at(start).to(end))
        self.pin(ref, pins[0], start)
        self.pin(ref, pins[1], end)
        middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        if abs(start[1] - end[1]) < CLOSE:
            self.label(ref, (middle[0], middle[1] + side * 0.42), valign="bottom" if side > 0 else "top")
            return
        one = self.sheet.part(ref)
        halign: Halign = "left" if side > 0 else "right"
        x = middle[0] + side * 0.45
        value = short_value(one)
        if value:
            self.text(ref, (x, middle[1] + 0.22), halign)
            self.text(value, (x, middle[1] - 0.22), halign)
        else:
            self.text(ref, (x, middle[1]), halign)

    def resistor(self, ref: str, start: XY, end: XY, flip: bool = False, side: int = 1) -> None:
        """A resistor; pin 'one' at the start unless flipped."""
        pins = ("other", "one") if flip else ("one", "other")
        self.two(ref, elm.ResistorIEC(), start, end, pins, side)

    def capacitor(self, ref: str, start: XY, end: XY, side: int = 1) -> None:
        """A capacitor, pin 'one' at the start."""
        self.two(ref, elm.Capacitor(), start, end, ("one", "other"), side)

    def diode(self, ref: str, anode: XY, cathode: XY, element: Any = None, side: int = 1) -> None:
        """A diode, LED, photodiode or Zener."""
        self.two(ref, elm.Diode() if element is None else element, anode, cathode, ("anode", "cathode"), side)

    # -- boxes ------------------------------------------------------------------------------------------

    def box(
        self,
        ref: str,
        corner: XY,
        size: XY,
        pins: dict[str, tuple[str, float]],
        name: str | None = None,
        stub: float = 0.5,
        names: dict[str, str] | None = None,
    ) -> None:
        """A rectangle (lower left corner, size) with pins: pin -> (side, distance along it from top or left)."""
        (x, y), (wide, high) = corner, size
        outline = [(x, y), (x + wide, y), (x + wide, y + high), (x, y + high)]
        self.shape(SegmentPoly(outline, lw=LINE_PT, fill=None))
        for pin, (side, along) in pins.items():
            shown = (names or {}).get(pin, pin)
            if side in ("left", "right"):
                edge, out = (x, -stub) if side == "left" else (x + wide, stub)
                at = (edge, y + high - along)
                end = (edge + out, at[1])
                inset = 0.12 if side == "left" else -0.12
                self.text(shown, (at[0] + inset, at[1]), "left" if side == "left" else "right", size=SMALL_PT)
            else:
                edge, out = (y + high, stub) if side == "top" else (y, -stub)
                at = (x + along, edge)
                end = (at[0], edge + out)
                inset = -0.1 if side == "top" else 0.1
                valign: Valign = "top" if side == "top" else "bottom"
                self.text(shown, (at[0], at[1] + inset), valign=valign, size=SMALL_PT)
            self.stroke(at, end)
            self.pin(ref, pin, end)
        self.text(ref if name is None else name, (x + wide / 2, y + high / 2))

    def insulator(self, ref: str, one: XY, other: XY, name: str) -> None:
        """An insulating part between two points on one horizontal line: a hatched block."""
        (x1, y), (x2, _) = one, other
        left, right = min(x1, x2) + 0.5, max(x1, x2) - 0.5
        self.stroke((min(x1, x2), y), (left, y))
        self.stroke((right, y), (max(x1, x2), y))
        self.shape(
            SegmentPoly([(left, y - 0.4), (right, y - 0.4), (right, y + 0.4), (left, y + 0.4)], lw=LINE_PT)
        )
        steps = max(2, round((right - left) / 0.4))
        for step in range(steps):
            start = left + (right - left) * step / steps
            self.stroke((start, y - 0.4), (min(right, start + 0.4), y + 0.4), lw=0.7)
        self.pin(ref, "one", one)
        self.pin(ref, "other", other)
        self.text(f"{ref} {name}", ((left + right) / 2, y + 0.5), valign="bottom", size=SMALL_PT)

    # -- finishing --------------------------------------------------------------------------------------

    def finish(self, at: XY) -> bytes:
        """Title at a point, dots where three or more lines meet, then the SVG's bytes."""
        self.text(self.sheet.title, at, "left", "bottom", size=TITLE_PT)
        for x, y in sorted(self._meetings()):
            self.shape(SegmentCircle((x, y), 0.07, fill="black", lw=LINE_PT))
        return _on_white(bytes(self.drawing.get_imagedata("svg")))

    def _ends(self) -> list[XY]:
        return [
            *(end for line in self.lines for end in line),
            *self.pins.values(),
            *(at for _, at in (*self.flags, *self.names)),
        ]

    def _meetings(self) -> set[XY]:
        """Points where at least three things meet."""
        counted: dict[XY, int] = {}
        for end in self._ends():
            key = (round(end[0], 3), round(end[1], 3))
            counted[key] = counted.get(key, 0) + 1
        for key in counted:
            counted[key] += sum(2 for line in self.lines if _inside(key, line))
        # A wire's bend counts as two ends, a flag on a wire's end as a second: only real branches are left.
        return {key for key, count in counted.items() if count >= 3 and self._branches(key) >= 3}

    def _branches(self, at: XY) -> int:
        """How many lines leave a point, seen by eye."""
        ways = 0
        for line in self.lines:
            ways += sum(1 for end in line if _near(end, at)) + (2 if _inside(at, line) else 0)
        ways += sum(1 for place in self.pins.values() if _near(place, at))
        return ways + sum(1 for _, place in self.flags if _near(place, at))

    def joined(self) -> set[frozenset[tuple[str, str]]]:
        """Groups of (ref, pin) the picture connects, flags of one name taken as one."""
        points = sorted({(round(x, 3), round(y, 3)) for x, y in self._ends()})
        group = {point: point for point in points}

        def root(point: XY) -> XY:
            while group[point] != point:
                point = group[point]
            return point

        for line in self.lines:
            touched = [
                point for point in points if _inside(point, line) or any(_near(point, end) for end in line)
            ]
            for point in touched[1:]:
                group[root(point)] = root(touched[0])
        first: dict[str, XY] = {}
        for net, at in (*self.flags, *self.names):
            here = (round(at[0], 3), round(at[1], 3))
            group[root(here)] = root(first.setdefault(net, here))
        found: dict[XY, set[tuple[str, str]]] = {}
        for pin, at in self.pins.items():
            found.setdefault(root((round(at[0], 3), round(at[1], 3))), set()).add(pin)
        return {frozenset(one) for one in found.values()}

    def flag_names(self) -> Iterable[tuple[str, frozenset[str]]]:
        """For each flag: its name, and the netlist's nets of the pins the picture joins to it."""
        for net, at in (*self.flags, *self.names):
            marker = ("", f"flag {net}")
            self.pins[marker] = at
            (group,) = [one for one in self.joined() if marker in one]
            del self.pins[marker]
            nets = {self.sheet.part(ref).pins[pin] for ref, pin in group if ref}
            yield net, frozenset(nets)


def _on_white(svg: bytes) -> bytes:
    """The picture on a white sheet, so that a dark viewer shows it too."""
    found = re.search(rb'viewBox="([-\d.]+) ([-\d.]+) ([-\d.]+) ([-\d.]+)"[^>]*>', svg)
    assert found is not None, "schemdraw writes a viewBox"
    paper = b'<rect x="%s" y="%s" width="%s" height="%s" fill="white"/>' % found.groups()
    return svg[: found.end()] + paper + svg[found.end() :].rstrip() + b"\n"


def _near(one: XY, other: XY) -> bool:
    return abs(one[0] - other[0]) < 2e-3 and abs(one[1] - other[1]) < 2e-3


def _inside(point: XY, line: tuple[XY, XY]) -> bool:
    """Strictly between the ends of a horizontal or vertical line."""
    (x1, y1), (x2, y2) = line
    x, y = point
    if abs(x1 - x2) < 2e-3:
        return abs(x - x1) < 2e-3 and min(y1, y2) + 2e-3 < y < max(y1, y2) - 2e-3
    if abs(y1 - y2) < 2e-3:
        return abs(y - y1) < 2e-3 and min(x1, x2) + 2e-3 < x < max(x1, x2) - 2e-3
    return False
