"""The case each part comes in: its numbered terminals, which pin of the circuit each of them is, how to tell them
apart.

Numbers are those of the trade for a part of this kind in this case, seen from above; all are common practice, no
source. Parts of one kind in one case may still differ from maker to maker: the sheet of the part that was bought has
the last word, and `mind` says where that happens.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from coincide_wiring.circuits.model import Part

OPEN = ""  # a terminal that stays open


@dataclass(frozen=True, slots=True)
class Package:
    """A case: `pads` maps each terminal to the part's pin ("" stays open, `q[3]` is the third line of a bundle `q`),
    `first` says how to find the first one, `mind` what people get wrong with it ("" for nothing)."""

    name: str
    pads: Mapping[str, str]
    first: str
    mind: str = ""

    def pins(self) -> frozenset[str]:
        """The pins of the part that this case brings out."""
        return frozenset(re.sub(r"\[\d+\]$", "", pin) for pin in self.pads.values() if pin != OPEN)

    def words(self) -> str:
        """'1 anode, 2 cathode, 3 out1, 4 out2'."""
        return ", ".join(f"{pad} {pin or 'open'}" for pad, pin in self.pads.items())


def _case(name: str, pads: Mapping[str, str], first: str, mind: str = "") -> Package:
    return Package(name, MappingProxyType(dict(pads)), first, mind)


def _row(*pins: str) -> dict[str, str]:
    return {str(number): pin for number, pin in enumerate(pins, start=1)}


def _bundle(name: str, numbers: range) -> dict[str, str]:
    return {str(number): f"{name}[{line}]" for line, number in enumerate(numbers, start=1)}


EITHER_WAY = "either way round"
BAND = "1 is the end with the band"
DOT = "1 beside the notch or dot, then anticlockwise"
MARKED = "as marked on the part"
TWO = {"1": "one", "2": "other"}
DIODE = {"1": "cathode", "2": "anode"}

PACKAGES: Mapping[str, Package] = MappingProxyType(
    {
        "resistor": _case("axial, 0.25 W, 2.5 x 6.5 mm", TWO, EITHER_WAY),
        "capacitor": _case("radial, 5 mm pitch", TWO, EITHER_WAY),
        "photorelay": _case(
            "DIP-4, 7.62 mm between the rows",
            _row("anode", "cathode", "out1", "out2"),
            DOT,
            "A relay with a triac or thyristor output looks the same and never opens on direct current; a "
            "phototransistor looks the same and has a plus and a minus. In DIP-6 the contact is 4 and 6, 5 stays open.",
        ),
        "optocoupler": _case(
            "DIP-4, 7.62 mm between the rows",
            _row("anode", "cathode", "emitter", "collector"),
            DOT,
            "Two LEDs back to back (for alternating current) and Darlington outputs come in the same case: the first "
            "answers to either polarity, the second is slow and stays above 0.8 V. In DIP-6: 1 anode, 2 cathode, "
            "4 emitter, 5 collector, 3 and 6 open.",
        ),
        "suppressor": _case(
            "axial, DO-15 or DO-201",
            TWO,
            EITHER_WAY,
            "The bidirectional kind (no band): the unidirectional one shorts a terminal of the other polarity.",
        ),
        "diode": _case("axial, DO-35", DIODE, BAND),
        "zener": _case("axial, DO-35", DIODE, BAND),
        "limiter": _case(
            "TO-243 (SOT-89) on an adapter with three pins at 2.54 mm",
            _row("gate", "drain", "source"),
            "1 on the left, the tab away from you; the tab is 2",
            "A wrongly poled 400 V leaves 0.7 W in it: this case, soldered to 5 cm² of copper, stands 1.5 W. The "
            "same part in TO-92 stands about 0.7 W and has its leads in another order. Many depletion types pass "
            "100 mA and more at zero gate voltage: take one of 1 to 3 mA. Its tab carries the terminal's voltage.",
        ),
        "photodiode": _case(
            "radial, 2 leads, clear window, 7 mm²",
            DIODE,
            "1 is the shorter lead or the marked corner; the diode range of a meter tells: 0.6 V with red on 2",
            "A black window passes infrared only and sees nothing of a white LED.",
        ),
        "comparator": _case(
            "DIP-8, two comparators of which one is used",
            _row("out", "minus", "plus", "gnd", "gnd", "vcc", OPEN, "vcc"),
            DOT,
            "The common dual kind (the trade calls it 393), the idle half tied as numbered. Single ones come in "
            "five-lead cases with two different orders of pins. Its inputs work up to 1.8 V only, on 3.3 V. A "
            "push-pull output fights nothing here but kicks the threshold: then compute the hysteresis again.",
        ),
        "opamp": _case(
            "DIP-8, single",
            _row(OPEN, "minus", "plus", "gnd", OPEN, "out", "vcc", OPEN),
            DOT,
            "CMOS inputs (picoamperes); it must swing to ground and run on 3.3 V: most in DIP-8 want 10 V and more.",
        ),
        "trimmer": _case(
            "3 pins in line, 2.54 mm, screw at the end",
            _row("other", "wiper", "one"),
            "1 is the end that the wiper nears turned anticlockwise",
        ),
        "npn": _case(
            "TO-92",
            _row("emitter", "base", "collector"),
            "flat side towards you, leads down: 1 on the left",
            "Half of the world's types have the leads the other way round (collector, base, emitter).",
        ),
        "mosfet": _case(
            "TO-220",
            _row("gate", "drain", "source"),
            "printed side towards you, leads down: 1 on the left; the tab is 2",
            "The tab is the drain, at up to 40 V as the coil lets go: keep it off the panel.",
        ),
        "led": _case("5 mm, radial", DIODE, "1 is the shorter lead, beside the flat", ""),
        "led_array": _case(
            "bar of 8, 16 pins, 7.62 mm between the rows",
            {**_bundle("anodes", range(1, 9)), **{str(pad): "cathode" for pad in range(9, 17)}},
            "1 below the chamfered corner; 9 to 16 run back along the other side",
            "Bars with the cathodes joined inside, and bars with all sixteen leads out, both do (join 9 to 16). A "
            "common-anode bar stays dark. A bar of ten leaves a gap at every join: cut it, or use single LEDs of "
            "one pitch.",
        ),
        "resistor_array": _case(
            "DIP-16, eight isolated resistors",
            {**_bundle("one", range(1, 9)), **_bundle("other", range(16, 8, -1))},
            DOT,
            "Networks in one line often have a common pin: those join all lamps.",
        ),
        "shift_register": _case(
            "DIP-16",
            {
                **{str(number): f"q[{number + 1}]" for number in range(1, 8)},
                "8": "gnd",
                "9": "next",
                "10": "clear",
                "11": "clock",
                "12": "latch",
                "13": "enable",
                "14": "data",
                "15": "q[1]",
                "16": "vcc",
            },
            DOT,
            "The logic family's 595 in HC (2 to 6 V); HCT and LS want 5 V. Line 1 of a register is pin 15, line "
            "2 pin 1.",
        ),
        "cell": _case(
            "holder or clip with two leads",
            {"red": "plus", "black": "minus"},
            "by colour",
            "A clip's snaps look alike from both sides: meter the leads before soldering.",
        ),
        "supply": _case(
            "plug 5.5 x 2.1 mm",
            {"centre": "plus", "outer": "minus"},
            MARKED,
            "Some have the centre negative: meter it.",
        ),
        "solenoid": _case(
            "two leads and a frame", {"1": "coil1", "2": "coil2", "frame": "frame"}, EITHER_WAY
        ),
        "fuse": _case("radial, 5 mm pitch", TWO, EITHER_WAY),
        "cutout": _case(
            "two leads, insulated",
            TWO,
            EITHER_WAY,
            "One-shot types look alike: they never close again, which is safe, and the end of the day.",
        ),
        "switch": _case("panel toggle, 2 lugs", TWO, EITHER_WAY),
        "switch2": _case(
            "panel toggle, 4 lugs",
            _row("one", "other", "return1", "return2"),
            "1 and 2 are one pole, 3 and 4 the other",
            "On one with six lugs the middle ones are common: use a middle and the same end of each pole, and "
            "find with a meter which end is joined with the lever down.",
        ),
        "button": _case("panel button, 2 lugs", TWO, EITHER_WAY),
        "button2": _case(
            "panel jack 3.5 mm, 3 contacts, for the handle's plug",
            {"tip": "full", "ring": "half", "sleeve": "common"},
            "tip, ring, sleeve",
            "3.5 mm for the handle and 2.5 mm for the bodies, so that neither goes into the other's socket.",
        ),
        "jack_release": _case(
            "panel jack 2.5 mm, 3 contacts, plastic neck",
            {"tip": "full", "ring": "half", "sleeve": "common"},
            "tip, ring, sleeve",
            "A metal neck joins the sleeve to the panel. Contacts that a plug opens are left open.",
        ),
        "jack_sync": _case(
            "insulated bayonet socket (BNC), panel",
            {"centre": "centre", "outer": "outer"},
            "centre, outer",
            "The plain kind joins its outer to the panel: take the one with a plastic body or bushes.",
        ),
        "loopback": _case(
            "lead with two plugs 2.5 mm and two bayonet plugs",
            {
                "A tip": "a_full",
                "A ring": "a_half",
                "A sleeve": "a_com",
                "B tip": "b_full",
                "B ring": "b_half",
                "B sleeve": "b_com",
                "A centre": "a_centre",
                "A outer": "a_outer",
                "B centre": "b_centre",
                "B outer": "b_outer",
            },
            "mark the plugs A and B",
        ),
        "insulator": _case("sheet or housing", {"one face": "one", "other face": "other"}, EITHER_WAY),
        "laptop": _case(
            "USB cable",
            {"VBUS": "vbus", "GND": "gnd", "shell": "shield"},
            MARKED,
            "Many cables charge only and have no data wires.",
        ),
        # Not bought, but wired: what the terminal of a body is, and the metal.
        "body": _case(
            "camera body",
            {one: one for one in ("half", "full", "common", "centre", "outer", "shell")},
            "by meter (stage 9)",
        ),
        "metal": _case("metal", {"plate": "plate", "rig": "rig"}, EITHER_WAY),
    }
)

POLARISED = _case(
    "radial, 5 mm pitch, polarised",
    {"+": "one", "-": "other"},
    "the stripe marks minus",
    "It bursts when reversed.",
)
SMALL_DISC = _case("radial, 2.5 or 5 mm pitch", TWO, EITHER_WAY)
STAR = _case(
    "1 W on a 20 mm star board, screwed to a heat sink",
    {"-": "cathode", "+": "anode"},
    MARKED,
    "Ready-made lamps chop their current to dim: take the bare LED.",
)
POWER_RESISTOR = _case(
    "axial, 5 W, ceramic", TWO, EITHER_WAY, "It runs at 80 °C and more: 5 mm of air all round."
)
RECTIFIER = _case("axial, DO-41", DIODE, BAND)
FAST_RECTIFIER = _case(
    "axial, DO-201",
    DIODE,
    BAND,
    "A mains rectifier is too slow to let the plunger go: a fast or Schottky type.",
)
SUPPRESSOR_ONE_WAY = _case("axial, DO-15 or DO-201", DIODE, BAND)
# By the beginning of the line of the parts list, where the kind alone does not tell.
BY_SORT: tuple[tuple[str, Package], ...] = (
    ("Capacitor 1000 µF, electrolytic", POLARISED),
    ("Capacitor 6.8 pF", SMALL_DISC),
    ("Capacitor 3.3 pF", SMALL_DISC),
    ("Capacitor 100 pF", SMALL_DISC),
    ("LED, white, 1 W", STAR),
    ("Resistor 22 Ω, 5 %, 5 W", POWER_RESISTOR),
    ("Rectifier diode", RECTIFIER),
    ("Diode, fast", FAST_RECTIFIER),
    ("Suppressor or Zener diode", SUPPRESSOR_ONE_WAY),
)


def package_of(part: Part) -> Package:
    """The case of a part. Raises KeyError for a kind that has none."""
    if part.kind == "board":
        return _board(part)
    for beginning, package in BY_SORT:
        if part.sort.startswith(beginning):
            return package
    return PACKAGES[part.kind]


def _board(part: Part) -> Package:
    names = {"vbus": "VBUS", "v3v3": "3V3", "gnd": "GND", "shield": "USB shell"}
    pads = {names.get(pin, pin.upper()): pin for pin in part.pins}
    return _case(
        "board with two rows of pins",
        pads,
        "by the names printed on the board",
        "Board positions are not GPIO numbers: go by the names GP2, GP3 ... The 3V3 pin is an output; feed "
        "nothing into it.",
    )
