"""What a value must lie within, and why, where no computed value says so. A slip of a decade is found here.

The ends leave room for what is in the drawer, not for another design; figures say how far a value may go otherwise.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from coincide_wiring.check.fault import Fault
from coincide_wiring.circuits.model import Netlist, Part
from coincide_wiring.circuits.specs import BOARD

VALUE_OF = {
    "resistor": ("resistance_ohm", "Ω"),
    "resistor_array": ("resistance_ohm", "Ω"),
    "trimmer": ("resistance_ohm", "Ω"),
    "capacitor": ("capacitance_f", "F"),
}


@dataclass(frozen=True, slots=True)
class Span:
    """Parts whose reference matches `refs` lie from `least` to `most`, in SI, because of `why`."""

    refs: str
    least: float
    most: float
    why: str


PULL_DOWN_MOST_OHM = BOARD["pulldown_ohm_max"]
SPANS = (
    Span(
        r"R1[34][AB]|R7[01]2|R8[123]",
        2e3,
        PULL_DOWN_MOST_OHM,
        "a smaller one takes the current of the isolator's LED; a larger one lets a pin's own leakage through",
    ),
    Span(
        r"C1",
        4.7e-6,
        47e-6,
        "four LEDs of 6 mA for 10 µs take 0.1 V off 4.7 µF; more than 47 µF trips a USB port",
    ),
    Span(r"C2|C4[14][AB]\d|C8\d", 47e-9, 470e-9, "a supply pin wants 100 nF beside it"),
    Span(r"C42[AB]\d", 47e-9, 470e-9, "with the trimmer it holds the threshold for 0.5 to 5 ms"),
    Span(r"C43[AB]\d", 2.2e-12, 15e-12, "more slows the amplifier, less lets it ring"),
    Span(r"C45[AB]\d", 47e-12, 220e-12, "with R44 the hysteresis dies away in 0.05 to 0.2 ms"),
    Span(r"RV41[AB]\d", 4.7e3, 22e3, "with R42 it reaches every threshold up to 1.8 V"),
    Span(
        r"R42[AB]\d", 8.2e3, 27e3, "keeps the wiper within the comparator's 1.8 V and above the signal's half"
    ),
    Span(r"R43[AB]\d", 1.5e3, 6.8e3, "with R44 the hysteresis is 5 to 20 mV"),
    Span(r"R44[AB]\d", 470e3, 2.2e6, "with R43 the hysteresis is 5 to 20 mV"),
    Span(r"R45[AB]\d", 1e3, 4.7e3, "less than the comparator's 6 mA, and quick on 1.5 m of lead"),
    Span(
        r"R6\d1", 4.7e3, 22e3, "a pull-up: with the next it makes a low of 0.3 V, and leakage moves it little"
    ),
    Span(r"R6\d2", 470.0, 2.2e3, "limits a discharge; with the pull-up it makes a low of 0.3 V"),
    Span(r"C6\d1", 4.7e-9, 22e-9, "takes a discharge; the interlock still opens within 0.3 ms"),
    Span(r"R7[01]1", 2.2e3, 10e3, "base current of the lamp's transistor, 0.2 to 1 mA"),
    Span(r"R8[456]", 22.0, 100.0, "with the pin about the impedance of the cable"),
    Span(r"RN8\d", 220.0, 680.0, "2 to 5 mA through each lamp"),
    Span(r"R21[AB]", 220.0, 1e3, "3 to 12 mA through the contact; the limiter's 0.5 to 1.7 mA"),
    Span(r"C51[AB]", 470e-6, 2.2e-3, "lends the coil 0.5 A for a millisecond"),
    Span(r"R51[AB]", 470.0, 2.2e3, "feeds the gate; limits what a shorted lead draws to 26 mA"),
    Span(r"R53[AB]", 4.7e3, 22e3, "empties C52 between pulls; most of the supply must reach the gate"),
)
# The coupler's collector resistor, by the LED current at which its transfer ratio is promised.
COLLECTOR_OHM = ((0.005, 4.7e3, 22e3), (0.001, 47e3, 180e3))


def value_faults(netlist: Netlist) -> list[Fault]:
    """Values beyond their span."""
    found = []
    for one in netlist.parts:
        if one.kind not in VALUE_OF:
            continue
        name, unit = VALUE_OF[one.kind]
        value = one.value(name)
        for span in spans_of(netlist, one):
            if not span.least <= value <= span.most:
                say = (
                    f"{one.ref} is {value:.3g} {unit}; it must lie between {span.least:.3g} and {span.most:.3g} "
                    f"{unit}: {span.why}."
                )
                found.append(Fault("value", one.ref, say))
    return found


def spans_of(netlist: Netlist, one: Part) -> tuple[Span, ...]:
    """The spans that a part's value has to lie in."""
    return tuple(span for span in (*SPANS, *_collector(netlist, one)) if re.fullmatch(span.refs, one.ref))


def _collector(netlist: Netlist, one: Part) -> tuple[Span, ...]:
    if not one.ref.startswith("R22"):
        return ()
    couplers = [part for part in netlist.of_kind("optocoupler") if part.ref == f"U21{one.ref[3:]}"]
    why = "small enough to be quick, large enough for the coupler to saturate at the LED current it gets"
    return tuple(
        Span(one.ref, least, most, why)
        for part in couplers
        for ratio_at_a, least, most in COLLECTOR_OHM
        if part.value("ratio_at_a") == ratio_at_a
    )
