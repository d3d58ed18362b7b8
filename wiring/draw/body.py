"""Where things lie on the drawings of what meets a body. Layout only: names and values are the netlist's."""

from __future__ import annotations

import schemdraw.elements as elm
from schemdraw.segments import SegmentCircle

from coincide_wiring.draw import symbols
from coincide_wiring.draw.sketch import SMALL_PT, XY, Sketch

# Contacts of the loopback plug's 3-contact plugs, as the release sockets have them.
CONTACTS = {"half": "ring: half", "full": "tip: full", "com": "sleeve"}


def release(s: Sketch, body: str) -> None:
    """Two isolators one above the other, the jack at the right."""
    low = body.lower()
    for number, press, y in ((11, "half", 0.0), (12, "full", -5.0)):
        s.flag(f"{press}_{low}", (0, y), "left")
        s.wire((0, y), (0.8, y), (1.8, y))
        s.resistor(f"R{number + 2}{body}", (0.8, y), (0.8, y - 2.2))
        s.ground((0.8, y - 2.2))
        s.resistor(f"R{number}{body}", (1.8, y), (4.4, y))
        symbols.photorelay(s, f"K{number}{body}", (4.4, y))
        s.wire((4.4, y - 2), (3.4, y - 2))
        s.flag("LED_RETURN", (3.4, y - 2), "left")
        s.wire((8.4, y), (9.4, y))
        s.wire((8.4, y - 2), (9.4, y - 2))
        s.two(f"D{number}{body}", elm.DiodeTVS(), (9.4, y), (9.4, y - 2), ("one", "other"))
    s.box(
        f"J11{body}",
        (12.5, -5.6),
        (2.4, 6.2),
        {"half": ("left", 0.6), "common": ("left", 2.6), "full": ("left", 5.6)},
        "",
        names={"half": "ring: half", "common": "sleeve", "full": "tip: full"},
    )
    s.text(f"J11{body}", (13.9, -1.3))
    s.text("release\nsocket", (13.9, -4.0), size=SMALL_PT)
    s.wire((9.4, 0), (12, 0))
    s.wire((9.4, -5), (12, -5))
    s.wire((9.4, -2), (10.7, -2), (12, -2))
    s.wire((9.4, -7), (10.7, -7), (10.7, -2))
    for net, y in ((f"{body}_HALF", 0.0), (f"{body}_COM", -2.0), (f"{body}_FULL", -5.0)):
        s.name(net, (12, y), (11.5, y + 0.12))
    s.stroke((6.4, 1.7), (6.4, 0.95), dashed=True)
    s.stroke((6.4, -7.6), (6.4, -8.6), dashed=True)
    s.text("board side", (6.1, -8.4), "right", size=SMALL_PT)
    s.text(f"body {body} side", (6.7, -8.4), "left", size=SMALL_PT)


def sync(s: Sketch, body: str, variant: str) -> None:
    """Cell at the left, socket in the middle, coupler and board side at the right."""
    low, bottom = body.lower(), -6.0
    anode_x = 6.2
    s.two(f"B21{body}", elm.Battery(), (-5, -2), (-5, -4), ("plus", "minus"), side=-1)
    s.wire((-5, -2), (-5, 0), (-4.4, 0))
    s.wire((-5, -4), (-5, bottom), (3, bottom), (3, -4.8), (2.5, -4.8))
    if variant == "cell":
        s.wire((-4.4, 0), (2.6, 0))
        s.resistor(f"R21{body}", (2.6, 0), (5, 0))
        s.wire((5, 0), (anode_x, 0), (8, 0))
    elif variant == "wetted":
        s.resistor(f"R23{body}", (-4.4, 0), (-2, 0))
        s.wire((-2, 0), (-1.6, 0), (2.6, 0))
        s.wire((-1.6, 0), (-1.6, -2))
        s.capacitor(f"C21{body}", (-1.6, -2), (-1.6, -4), side=-1)
        s.wire((-1.6, -4), (-1.6, bottom))
        s.resistor(f"R21{body}", (2.6, 0), (5, 0))
        s.wire((5, 0), (anode_x, 0), (8, 0))
    else:
        symbols.limiter(s, f"Q21{body}", (-4.4, 0))
        s.wire((-2.4, 0), (-1.6, 0))
        s.resistor(f"R21{body}", (-1.6, 0), (0.8, 0))
        s.wire((0.8, 0), (1.4, 0), (anode_x, 0), (8, 0))
        s.wire((-3.4, -1.2), (1.4, -1.2), (1.4, 0))
    s.box(f"J21{body}", (0, -5.4), (2, 3), {"centre": ("right", 0.6), "outer": ("right", 2.4)}, "")
    s.text(f"J21{body}", (0.8, -3.9))
    s.text("sync socket", (1, -5.5), valign="top", size=SMALL_PT)
    s.name(f"{body}_SYNC_C", (2.5, -3), (2.2, -2.88), "left")
    s.name(f"{body}_SYNC_O", (2.5, -4.8), (3.15, -5.3), "left")
    s.wire((2.5, -3), (4, -3))
    s.diode(f"D22{body}", (6, -3), (4, -3), side=-1)
    s.wire((6, -3), (anode_x, -3), (8, -3))
    s.diode(f"D21{body}", (anode_x, -3), (anode_x, 0), side=-1)
    symbols.optocoupler(s, f"U21{body}", (8, 0))
    s.wire((12, -3), (12.6, -3), (12.6, -3.4))
    s.ground((12.6, -3.4))
    s.resistor(f"R22{body}", (13, 2.4), (13, 0))
    s.rail("3V3", (13, 2.4))
    s.wire((12, 0), (13, 0), (15, 0))
    s.flag(f"sync_{low}", (15, 0), "right")
    s.stroke((10, 1.7), (10, 0.95), dashed=True)
    s.stroke((10, -3.5), (10, -6.4), dashed=True)
    s.text(f"body {body} side", (9.7, -6.2), "right", size=SMALL_PT)
    s.text("board side", (10.3, -6.2), "left", size=SMALL_PT)


def _comparator(s: Sketch, channel: str, x: float) -> None:
    """Threshold, comparator and output of a gate sensor; the light signal comes in at (x, 0)."""
    tag, low = channel.upper(), -4.6
    symbols.triangle(s, f"U41{tag}", (x + 7, 0))
    symbols.open_collector(s, (x + 9.95, -1))
    s.wire((x, 0), (x + 7, 0))
    s.rail("3V3", (x + 1.2, -1.2))
    s.resistor(f"R42{tag}", (x + 1.2, -1.2), (x + 1.2, -3.4))
    symbols.trimmer(s, f"RV41{tag}", (x + 1.2, -3.4))
    s.ground((x + 1.2, -5.8))
    s.wire((x + 2.2, low), (x + 2.6, low), (x + 3.2, low))
    s.capacitor(f"C42{tag}", (x + 2.6, low), (x + 2.6, low - 1.6))
    s.ground((x + 2.6, low - 1.6))
    s.resistor(f"R43{tag}", (x + 3.2, low), (x + 5.6, low))
    s.wire((x + 5.6, low), (x + 6.4, low), (x + 6.4, -2), (x + 7, -2))
    s.wire((x + 6.4, low), (x + 8, low))
    s.resistor(f"R44{tag}", (x + 8, low), (x + 10, low))
    s.capacitor(f"C45{tag}", (x + 10, low), (x + 11.6, low), side=-1)
    s.wire((x + 11.6, low), (x + 12, low), (x + 12, -1))
    s.wire((x + 11, -1), (x + 12, -1), (x + 13, -1))
    s.resistor(f"R45{tag}", (x + 12, 1.4), (x + 12, -1))
    s.rail("3V3", (x + 12, 1.4))
    s.flag(f"gate_{channel}", (x + 13, -1), "right")
    s.rail("3V3", (x + 15, -3.6))
    s.capacitor(f"C41{tag}", (x + 15, -3.6), (x + 15, -5.4))
    s.ground((x + 15, -5.4))


def _holder(s: Sketch, channel: str, at: XY) -> None:
    tag, (x, y) = channel.upper(), at
    s.insulator(f"H41{tag}", (x, y), (x + 4, y), "holder with slit mask")
    s.wire((x, y), (x, y - 0.5))
    s.ground((x, y - 0.5))
    s.wire((x + 4, y), (x + 4, y - 0.7))
    s.flag(f"{tag[0]}_SHELL", (x + 4, y - 0.7), "right")


def gate_load(s: Sketch, channel: str) -> None:
    """Photodiode and load at the left, comparator at the right."""
    tag = channel.upper()
    s.rail("3V3", (0, 2.4))
    s.diode(f"D41{tag}", (0, 0.4), (0, 2.4), elm.Photodiode())
    s.wire((0, 0.4), (0, 0))
    s.resistor(f"R41{tag}", (0, 0), (0, -2.4), side=-1)
    s.ground((0, -2.4))
    _comparator(s, channel, 0)
    _holder(s, channel, (4, 3.2))


def gate_transimpedance(s: Sketch, channel: str) -> None:
    """Photodiode, amplifier with its feedback above, comparator at the right."""
    tag = channel.upper()
    s.diode(f"D41{tag}", (-6, -2.4), (-6, 0), elm.Photodiode())
    s.ground((-6, -2.4))
    s.wire((-6, 0), (-5.2, 0), (-4.4, 0))
    symbols.triangle(s, f"U42{tag}", (-4.4, 0))
    s.wire((-4.4, -2), (-4.8, -2), (-4.8, -2.6))
    s.ground((-4.8, -2.6))
    s.wire((-5.2, 0), (-5.2, 2.6), (-4, 2.6))
    s.resistor(f"R41{tag}", (0.0, 2.6), (-4, 2.6))
    s.wire((0.0, 2.6), (0.6, 2.6), (0.6, -1), (-0.4, -1))
    s.wire((-5.2, 2.6), (-5.2, 4.2), (-3, 4.2))
    s.capacitor(f"C43{tag}", (-1, 4.2), (-3, 4.2))
    s.wire((-1, 4.2), (0.6, 4.2), (0.6, 2.6))
    s.wire((0.6, 0), (1.4, 0))
    _comparator(s, channel, 1.4)
    s.rail("3V3", (-2.5, -4.4))
    s.capacitor(f"C44{tag}", (-2.5, -4.4), (-2.5, -6))
    s.ground((-2.5, -6))
    _holder(s, channel, (4.6, 3.8))


def gate_lamp(s: Sketch) -> None:
    """A loop: supply, resistor, two LEDs."""
    s.two("G45", elm.BatteryCell(), (0, 0), (0, -4), ("plus", "minus"), side=-1)
    s.wire((0, 0), (0, 0.8), (2, 0.8))
    s.resistor("R45", (2, 0.8), (5, 0.8))
    s.wire((5, 0.8), (8, 0.8), (8, 0))
    s.diode("D45", (8, 0), (8, -2), elm.LED(), side=-1)
    s.diode("D46", (8, -2), (8, -4), elm.LED(), side=-1)
    s.wire((8, -4), (8, -4.8), (0, -4.8), (0, -4))
    s.text("direct current only;\nno dimmer that chops", (3.6, -2), size=SMALL_PT)


def solenoid(s: Sketch, body: str) -> None:
    """Supply and its switch at the left, gate network in the middle, coil and clamp at the right."""
    bottom, drain, gate, drive = -8.6, -4.0, -6.6, -4.6
    s.two(f"G51{body}", elm.BatteryCell(), (-4, -2.6), (-4, -6), ("plus", "minus"), side=-1)
    s.wire((-4, -2.6), (-4, 0), (-3, 0))
    symbols.contact(s, (-3, 0), (-1.2, 0))
    s.pin(f"S51{body}", "one", (-3, 0))
    s.pin(f"S51{body}", "other", (-1.2, 0))
    s.text(f"S51{body}", (-2.1, 0.7))
    s.text("within reach", (-2.1, -0.5), size=SMALL_PT)
    s.wire((-1.2, 0), (0.8, 0))
    s.name(f"{body}_SOL_S", (-1.2, 0), (-0.2, 0.12))
    s.wire((-4, -6), (-4, bottom), (16.2, bottom))
    s.two(f"F51{body}", elm.FuseIEC(), (0.8, 0), (3.2, 0), ("one", "other"))
    s.wire((3.2, 0), (4.4, 0), (7.4, 0), (10.4, 0))
    s.two(f"F52{body}", elm.FuseUS(), (10.4, 0), (12.8, 0), ("one", "other"))
    s.text("on the coil", (11.6, -0.5), size=SMALL_PT)
    s.wire((12.8, 0), (14, 0), (18, 0))
    s.wire((4.4, 0), (4.4, -3))
    s.two(f"C51{body}", elm.Capacitor(polar=True), (4.4, -3), (4.4, -5), ("one", "other"), side=-1)
    s.wire((4.4, -5), (4.4, bottom))
    s.resistor(f"R51{body}", (7.4, 0), (7.4, -3))
    s.flag(f"{body}_COM", (7.4, -3), "right")
    s.text("to the release socket", (7.6, -3.8), "left", size=SMALL_PT)
    s.wire((7.4, drive), (7.4, gate), (8.4, gate))
    s.flag(f"{body}_FULL", (7.4, drive), "right")
    s.resistor(f"R53{body}", (7.4, gate), (7.4, bottom), side=-1)
    s.capacitor(f"C52{body}", (8.4, gate), (10.4, gate))
    s.wire((10.4, gate), (11, gate), (12.8, gate), (15, gate))
    s.wire((16.2, -5.6), (16.2, drain))
    s.resistor(f"R52{body}", (11, gate), (11, bottom), side=-1)
    s.diode(f"D53{body}", (12.8, bottom), (12.8, gate), elm.Zener())
    symbols.mosfet(s, f"Q51{body}", (15, gate))
    s.wire((16.2, -7.6), (16.2, bottom))
    s.wire((14, 0), (14, -0.4))
    s.two(f"L51{body}", elm.Inductor2(), (14, -0.4), (14, -3.6), ("coil1", "coil2"), side=-1)
    s.wire((14, -3.6), (14, drain), (16.2, drain), (18, drain))
    s.stroke((14.6, -1.1), (14.6, -2.9))
    s.stroke((14.6, -2), (15.1, -2))
    s.pin(f"L51{body}", "frame", (15.1, -2))
    s.flag(f"{body}_SHELL", (15.1, -2), "right")
    s.diode(f"D51{body}", (18, drain), (18, -2))
    s.two(f"D52{body}", elm.Zener(), (18, 0), (18, -2), ("anode", "cathode"))


def bodies(s: Sketch) -> None:
    """Two bodies above the plate, each on its insulator."""
    for body, x in (("A", 0.0), ("B", 13.0)):
        pins: dict[str, tuple[str, float]] = {
            "half": ("right", 0.7),
            "full": ("right", 1.5),
            "common": ("right", 2.3),
            "centre": ("right", 3.3),
            "outer": ("right", 4.1),
            "shell": ("bottom", 1.8),
        }
        s.box(f"BODY_{body}", (x, 0), (3.6, 4.8), pins, "")
        s.text(f"body {body}", (x + 1.1, 2.9))
        for pin in ("half", "full", "common", "centre", "outer"):
            net = s.sheet.part(f"BODY_{body}").pins[pin]
            s.flag(net, s.pins[f"BODY_{body}", pin], "right")
        s.wire((x + 1.8, -0.5), (x + 1.8, -2.6))
        s.wire((x + 1.8, -1.2), (x + 3, -1.2))
        s.flag(f"{body}_SHELL", (x + 3, -1.2), "right")
    s.insulator("E2A", (1.8, -2.6), (6.4, -2.6), "insulating plate")
    s.insulator("E2B", (14.8, -2.6), (10.2, -2.6), "insulating plate")
    s.box(
        "M1",
        (6.5, -6),
        (3.6, 1.8),
        {"plate": ("top", 1.8), "rig": ("right", 0.9)},
        "M1 rig",
        names={"plate": "plate"},
    )
    s.wire((6.4, -2.6), (8.3, -2.6), (10.2, -2.6))
    s.wire((8.3, -2.6), (8.3, -3.7))
    s.text("TRIPOD_PLATE", (8.3, -2.45), valign="bottom", size=SMALL_PT)
    s.flag("RIG_METAL", (10.6, -5.1), "right")


def loopback(s: Sketch) -> None:
    """Four plugs on one lead: contacts of A at the left, of B at the right, the two joints in the middle."""
    s.stroke((0, 0.8), (10, 0.8), (10, -6.4), (0, -6.4), (0, 0.8), dashed=True)
    s.text("P91", (5, -5.8))
    rows = (("half", 0.0), ("full", -1.0), ("centre", -2.0), ("com", -3.6), ("outer", -4.6))
    ends = {"half": "HALF", "full": "FULL", "com": "COM", "centre": "SYNC_C", "outer": "SYNC_O"}
    for body, edge, side, bus in (("A", -0.6, "left", (3.4, 2.0)), ("B", 10.6, "right", (6.6, 8.0))):
        inner = 0.0 if body == "A" else 10.0
        for end, y in rows:
            s.stroke((inner, y), (edge, y))
            s.pin("P91", f"{body.lower()}_{end}", (edge, y))
            s.flag(f"{body}_{ends[end]}", (edge, y), side)
            joint = bus[0] if end in ("half", "full", "centre") else bus[1]
            s.stroke((inner, y), (joint, y))
            s.text(
                CONTACTS.get(end, end),
                (inner + (0.15 if body == "A" else -0.15), y + 0.1),
                "left" if body == "A" else "right",
                "bottom",
                SMALL_PT,
            )
        s.stroke((bus[0], 0), (bus[0], -2))
        s.stroke((bus[1], -3.6), (bus[1], -4.6))
    s.stroke((3.4, -1), (6.6, -1))
    s.stroke((2, -4.1), (8, -4.1))
    for centre_x, centre_y in ((3.4, -1.0), (6.6, -1.0), (2.0, -4.1), (8.0, -4.1)):
        s.shape(SegmentCircle((centre_x, centre_y), 0.07, fill="black"))
    s.text("any one contact closes for both sync inputs", (5, -2.75), size=SMALL_PT)
    s.text("all bodies unplugged", (5, -7.0), size=SMALL_PT)
