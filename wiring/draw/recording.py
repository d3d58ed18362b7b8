"""Where things lie on the drawings of a recording's leads, and the same joints in words for a terminal."""

from __future__ import annotations

import schemdraw.elements as elm

from coincide_wiring.circuits.model import Sheet
from coincide_wiring.circuits.recording import CHANNELS
from coincide_wiring.draw.sketch import SMALL_PT, Sketch

ROWS = {"A": 0.0, "B": -5.0}  # of either body's channel
MIDDLE = -2.5
SENSOR_X, LOAD_X, HOLDER_X, SHELL_X, TABLE_X = 6.5, 4.2, 9.0, 13.0, 17.0


def plugged(s: Sketch) -> None:
    """The plug at the left, sensors in the middle, holders or tape and the bodies at the right."""
    s.box(
        "J91",
        (0, -5.6),
        (2.4, 6.2),
        {"tip": ("right", 0.6), "sleeve": ("right", 3.1), "ring": ("right", 5.6)},
        "",
        names={"tip": "tip: left", "ring": "ring: right", "sleeve": "sleeve"},
    )
    s.text("J91", (0.6, -1.25))
    s.wire((2.9, MIDDLE), (LOAD_X, MIDDLE), (SENSOR_X, MIDDLE), (HOLDER_X, MIDDLE))
    kinds = {one.ref[:-1]: one.kind for one in s.sheet.parts}
    for body, y in ROWS.items():
        s.wire((2.9, y), (LOAD_X, y), (SENSOR_X, y))
        if "R91" in kinds:
            s.resistor(f"R91{body}", (LOAD_X, y), (LOAD_X, MIDDLE), side=-1)
        if "D91" in kinds:
            s.diode(
                f"D91{body}",
                (SENSOR_X, MIDDLE),
                (SENSOR_X, y),
                elm.Photodiode(),
                side=1 if body == "A" else -1,
            )
        else:
            s.two(f"Y91{body}", elm.Crystal(), (SENSOR_X, y), (SENSOR_X, MIDDLE), ("crystal", "brass"))
        across = 0.45 * y + 0.55 * MIDDLE + (0.4 if body == "A" else -0.4)
        s.wire((HOLDER_X, MIDDLE), (HOLDER_X, across))
        what = "plastic holder" if "D91" in kinds else "tape"
        s.insulator(f"H91{body}", (HOLDER_X, across), (SHELL_X, across), what)
        if "H92" in kinds:
            s.name(f"{body}_SHELL", (SHELL_X, across), (SHELL_X, across - 0.6), valign="top")
            s.insulator(f"H92{body}", (SHELL_X, across), (TABLE_X, across), "folded towel")
            s.flag("TABLE", (TABLE_X, across), "right")
        else:
            s.flag(f"{body}_SHELL", (SHELL_X, across), "right")
    s.text("nothing here touches metal of a body", (HOLDER_X + 0.3, -5.6), "left", size=SMALL_PT)


def analyser(s: Sketch) -> None:
    """The instrument at the left, two gate sensors in the middle, holders and bodies at the right."""
    s.box(
        "P91",
        (-1, -5.6),
        (2.4, 6.2),
        {"d0": ("right", 0.6), "ground": ("right", 3.1), "d1": ("right", 5.6)},
        "",
        names={"d0": "D0", "d1": "D1", "ground": "ground"},
    )
    s.text("P91", (-0.4, -1.25))
    s.wire((1.9, MIDDLE), (4.0, MIDDLE), (HOLDER_X, MIDDLE))
    s.ground((4.0, MIDDLE - 0.5))
    s.wire((4.0, MIDDLE), (4.0, MIDDLE - 0.5))
    for body, y in ROWS.items():
        net = f"gate_{body.lower()}1"
        s.box(
            f"U91{body}",
            (5.5, y - 1.0 if body == "A" else y - 0.6),
            (2.4, 1.6),
            {
                "signal": ("left", 0.6 if body == "A" else 1.0),
                "ground": ("right", 0.6 if body == "A" else 1.0),
            },
            "",
            names={"signal": "edge", "ground": "gnd"},
        )
        s.text(f"U91{body}", (6.7, y - 0.65 if body == "A" else y + 0.65))
        s.wire((1.9, y), (5.0, y))
        s.name(net, (3.4, y), (3.4, y + 0.12))
        s.wire((8.4, y), (HOLDER_X, y), (HOLDER_X, MIDDLE))
        across = y + (-1.1 if body == "A" else 1.1)
        s.wire((HOLDER_X, across), (HOLDER_X + 0.4, across))
        s.insulator(f"H91{body}", (HOLDER_X + 0.4, across), (SHELL_X + 0.4, across), "plastic holder")
        s.flag(f"{body}_SHELL", (SHELL_X + 0.4, across), "right")
    s.text("no metal of any body, no sync, no release", (HOLDER_X + 0.4, -5.6), "left", size=SMALL_PT)


def layout(s: Sketch) -> None:
    """Draws whichever of the sheets it is."""
    (analyser if s.sheet.name == "recording_analyser" else plugged)(s)


def joint_lines(sheet: Sheet) -> list[str]:
    """The sheet's joints in words: what each contact of the plug or instrument leads to, then what keeps it apart."""
    given = sheet.parts[0]
    nets = sheet.nets()
    lines = [f"{sheet.title}:"]
    channels = {net: body for body, net in CHANNELS.items()} | {"gate_a1": "A", "gate_b1": "B"}
    for pin, net in given.pins.items():
        ends = [
            f"{ref} {end}" if sheet.part(ref).kind not in ("resistor", "insulator") else ref
            for ref, end in nets[net]
            if ref != given.ref and sheet.part(ref).kind != "insulator"
        ]
        side = (
            f" ({'left' if channels[net] == 'A' else 'right'})"
            if net in channels and given.kind == "plug"
            else ""
        )
        whose = f", body {channels[net]}" if net in channels else ", and no metal of any body"
        lines.append(f"  {pin + side:14} o--- {' and '.join(ends)}{whose}")
    for one in sheet.parts[1:]:
        if not one.ref.endswith("A"):
            continue  # what body B has is the same with its letter
        kept = ""
        if one.kind == "insulator":
            kept = f"keeps apart {' and '.join(_apart_words(net) for net in one.pins.values())}: "
        lines.append(f"  {one.ref + ', ' + one.ref[:-1] + 'B':14} {kept}{one.sort}")
    return lines


def _apart_words(net: str) -> str:
    if net.endswith("_SHELL"):
        return "the body"
    return "the table" if net == "TABLE" else "the lead"
