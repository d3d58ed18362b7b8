"""A circuit as a SPICE deck: models from the ratings of its parts, one element a line.

Junctions are exponential, transistors square-law or Gummel-Poon, couplers a photocurrent into a transistor's base:
physics the computed values do not use, so that a run of the deck can judge them. Stimuli and analyses are the caller's.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable

from coincide_wiring.circuits.model import Part

THERMAL_V = 0.025865  # kT/q at 27 deg C, at which SPICE runs
IDEALITY, IDEALITY_A_V = 1.8, 1.2  # of a junction; of an LED of more than 1.5 V, for each volt
MODEL_A = 5e-3  # current at which an LED's or diode's forward voltage is promised
OPTO_GAIN = (
    300.0  # current gain of a coupler's transistor; its transfer ratio over this is what the light gives
)
BASE_V = 0.7
STIFF_OHM = 1e-3


def node(net: str) -> str:
    """A net's name as SPICE takes it; ground is node 0."""
    return "0" if net == "GND" else re.sub(r"\W", "_", net).lower()


def deck(title: str, parts: Iterable[Part], stimuli: Iterable[str] = ()) -> str:
    """The deck of some parts with lines of stimuli behind; ends with .end."""
    lines = [f"* {title}"]
    for one in parts:
        lines += (
            ELEMENTS[one.kind](one)
            if one.kind in ELEMENTS
            else [f"* {one.ref}: {one.kind}, no current of its own"]
        )
    return "\n".join([*lines, *stimuli, ".end", ""])


def _ends(one: Part, *pins: str) -> str:
    return " ".join(node(one.pins[pin]) for pin in pins)


def junction(
    ref: str, plus: str, minus: str, forward_v: float, breakdown_v: float | None = None
) -> list[str]:
    """A diode with its forward voltage at 5 mA."""
    ideality = max(IDEALITY, IDEALITY_A_V * forward_v)
    saturation_a = MODEL_A / math.expm1(forward_v / (ideality * THERMAL_V))
    reverse = "" if breakdown_v is None else f" bv={breakdown_v:g} ibv=1m"
    return [
        f"d_{ref} {plus} {minus} m_{ref}",
        f".model m_{ref} d(is={saturation_a:.6g} n={ideality:g} rs=0.5{reverse})",
    ]


def _array(one: Part) -> list[str]:
    """A network: the lines of its bundle side by side, as one."""
    ohm = one.value("resistance_ohm") / one.value("lines")
    return [f"r_{one.ref} {_ends(one, 'one', 'other')} {ohm:g}"]


def _led_array(one: Part) -> list[str]:
    plus, minus = node(one.pins["anodes"]), node(one.pins["cathode"])
    diode, model = junction(one.ref, plus, minus, one.value("forward_v"))
    return [f"{diode} area={one.value('lines'):g}", model]


def _comparator(one: Part) -> list[str]:
    """Its inputs' capacitance and its own current; the output is the caller's."""
    minus, rail, ground = (node(one.pins[pin]) for pin in ("minus", "vcc", "gnd"))
    return [
        f"ci_{one.ref} {minus} 0 {one.value('input_f'):g}",
        f"i_{one.ref} {rail} {ground} {one.value('supply_a'):g}",
    ]


def _resistor(one: Part) -> list[str]:
    return [f"r_{one.ref} {_ends(one, 'one', 'other')} {one.value('resistance_ohm'):g}"]


def _capacitor(one: Part) -> list[str]:
    return [f"c_{one.ref} {_ends(one, 'one', 'other')} {one.value('capacitance_f'):g}"]


def _source(name: str) -> Callable[[Part], list[str]]:
    return lambda one: [f"v_{one.ref} {_ends(one, 'plus', 'minus')} {one.value(name):g}"]


def _diode(one: Part) -> list[str]:
    return junction(one.ref, node(one.pins["anode"]), node(one.pins["cathode"]), one.value("forward_v"))


def _zener(one: Part) -> list[str]:
    ends = (node(one.pins["anode"]), node(one.pins["cathode"]))
    return junction(one.ref, *ends, one.value("forward_v"), one.value("zener_v"))


def _suppressor(one: Part) -> list[str]:
    middle, limit_v = f"mid_{one.ref}".lower(), one.value("zener_v") - 0.7
    return [
        *junction(f"{one.ref}u", middle, node(one.pins["one"]), 0.7, limit_v),
        *junction(f"{one.ref}d", middle, node(one.pins["other"]), 0.7, limit_v),
    ]


def _led(one: Part) -> list[str]:
    """An isolator's LED with an ammeter `v_REF` in its cathode lead."""
    inner = f"led_{one.ref}".lower()
    return [
        *junction(one.ref, node(one.pins["anode"]), inner, one.value("forward_v")),
        f"v_{one.ref} {inner} {node(one.pins['cathode'])} 0",
    ]


def _photorelay(one: Part) -> list[str]:
    on_a = one.value("trigger_a")
    return [
        *_led(one),
        f"w_{one.ref} {_ends(one, 'out1', 'out2')} v_{one.ref} s_{one.ref}",
        f".model s_{one.ref} csw(it={on_a:g} ih={on_a / 10:g} ron={one.value('on_ohm'):g} roff=1g)",
    ]


def _optocoupler(one: Part) -> list[str]:
    """The light's current into a transistor's base; its junctions hold the charge that the promised turn-on carries."""
    base, share = f"base_{one.ref}".lower(), one.value("ratio_min") / OPTO_GAIN
    on_s = (one.value("on_s_min") + one.value("on_s_max")) / 2
    junction_f = on_s * one.value("on_at_a") / OPTO_GAIN / BASE_V
    return [
        *_led(one),
        # The transfer ratio falls with the LED's current as its sheet says, and rises no further above.
        f"b_{one.ref} {node(one.pins['collector'])} {base} i = {share:g}*max(i(v_{one.ref}),0)"
        f"*min(1,(max(i(v_{one.ref}),1n)/{one.value('ratio_at_a'):g})^{one.value('ratio_exponent'):g})",
        f"q_{one.ref} {node(one.pins['collector'])} {base} {node(one.pins['emitter'])} b_{one.ref}",
        f".model b_{one.ref} npn(bf={OPTO_GAIN:g} is=1e-14 cje={junction_f:g} cjc=2p rc=20)",
    ]


def _npn(one: Part) -> list[str]:
    return [
        f"q_{one.ref} {_ends(one, 'collector', 'base', 'emitter')} b_{one.ref}",
        f".model b_{one.ref} npn(bf={one.value('gain_min'):g} is=1e-14 rc=2)",
    ]


def _mosfet(one: Part) -> list[str]:
    drain, gate, source = (node(one.pins[pin]) for pin in ("drain", "gate", "source"))
    return [
        f"m_{one.ref} {drain} {gate} {source} {source} n_{one.ref} w=1 l=1",
        f".model n_{one.ref} nmos(vto=3 kp={1 / (one.value('on_ohm') * 5):g})",
    ]


def _limiter(one: Part) -> list[str]:
    """A depletion transistor as a junction FET: the same square law, pinched off at its threshold."""
    drain_a = (one.value("drain_a_min") + one.value("drain_a_max")) / 2
    threshold_v = (one.value("threshold_v_at_min") + one.value("threshold_v_at_max")) / 2
    return [
        f"j_{one.ref} {_ends(one, 'drain', 'gate', 'source')} j_{one.ref}",
        f".model j_{one.ref} njf(vto={-threshold_v:g} beta={drain_a / threshold_v**2:g})",
    ]


def _solenoid(one: Part) -> list[str]:
    inner = f"coil_{one.ref}".lower()
    return [
        f"r_{one.ref} {node(one.pins['coil1'])} {inner} {one.value('coil_ohm'):g}",
        f"l_{one.ref} {inner} {node(one.pins['coil2'])} {one.value('inductance_h'):g}",
    ]


def _photodiode(one: Part) -> list[str]:
    """The junction dark, its capacitance that of no voltage or of the rail's; its light is a stimulus, a current from
    cathode to anode."""
    anode, cathode = node(one.pins["anode"]), node(one.pins["cathode"])
    reverse = "_reverse" if one.pins["cathode"] == "3V3" else ""
    farad = one.value(f"capacitance{reverse}_f") + one.value("cable_f")
    return [*junction(one.ref, anode, cathode, 0.6), f"c_{one.ref} {cathode} {anode} {farad:g}"]


def _opamp(one: Part) -> list[str]:
    """One pole: a transconductance into 1 F/(2 pi GBW) and a buffer; its input's capacitance."""
    inner, farad = f"pole_{one.ref}".lower(), 1 / (2 * math.pi * one.value("gain_bandwidth_hz"))
    plus, minus, out = (node(one.pins[pin]) for pin in ("plus", "minus", "out"))
    return [
        f"g_{one.ref} 0 {inner} {plus} {minus} 1",
        f"c_{one.ref} {inner} 0 {farad:g}",
        f"r_{one.ref} {inner} 0 1e5",
        f"e_{one.ref} {out} 0 {inner} 0 1",
        f"ci_{one.ref} {minus} 0 {one.value('input_f'):g}",
        f"i_{one.ref} {_ends(one, 'vcc', 'gnd')} {one.value('supply_a'):g}",
    ]


def _trimmer(one: Part) -> list[str]:
    ohm, position = one.value("resistance_ohm"), one.value("position")
    return [
        f"r_{one.ref}u {_ends(one, 'one', 'wiper')} {(1 - position) * ohm:g}",
        f"r_{one.ref}d {_ends(one, 'wiper', 'other')} {position * ohm:g}",
    ]


def _switch(one: Part) -> list[str]:
    """A closed switch; leave the part out of the deck where it is open."""
    return [f"r_{one.ref} {_ends(one, 'one', 'other')} {STIFF_OHM}"]


def _switch2(one: Part) -> list[str]:
    return [*_switch(one), f"r_{one.ref}b {_ends(one, 'return1', 'return2')} {STIFF_OHM}"]


ELEMENTS: dict[str, Callable[[Part], list[str]]] = {
    "resistor": _resistor,
    "resistor_array": _array,
    "led_array": _led_array,
    "comparator": _comparator,
    "fuse": _resistor,
    "cutout": _resistor,
    "capacitor": _capacitor,
    "cell": _source("voltage_v"),
    "supply": _source("supply_v"),
    "diode": _diode,
    "led": _diode,
    "zener": _zener,
    "suppressor": _suppressor,
    "photorelay": _photorelay,
    "optocoupler": _optocoupler,
    "npn": _npn,
    "mosfet": _mosfet,
    "limiter": _limiter,
    "solenoid": _solenoid,
    "photodiode": _photodiode,
    "opamp": _opamp,
    "trimmer": _trimmer,
    "switch": _switch,
    "switch2": _switch2,
}
