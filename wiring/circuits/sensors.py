"""Circuits that watch a body: sync inputs, gate sensors, and the lamp these look at.

Sync inputs are isolated and carry their own supply. Gate sensors belong to the board's side and are kept off
the body by an insulating holder.
"""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.box import GND, V3, decoupling, resistor
from coincide_wiring.circuits.model import Part, Sheet, part

SYNC_VARIANTS = ("cell", "wetted", "high-voltage")
GATE_VARIANTS = ("transimpedance", "through-lens", "load")
# Feedback resistor and capacitor of the amplified variants, and the capacitor's line of the parts list.
AMPLIFIED = {
    "transimpedance": (100e3, 6.8e-12, "Capacitor 6.8 pF, ceramic C0G, 50 V"),
    "through-lens": (330e3, 3.3e-12, "Capacitor 3.3 pF, ceramic C0G, 50 V"),
}
# Where the trimmer stands when the wiper shows half of the nominal signal.
HALF_AT = {"transimpedance": 0.17, "through-lens": 0.16, "load": 0.087}
GATES = {"A": ("a1", "a2"), "B": ("b1", "b2")}


def _sync_ends(body: str, high_voltage: bool) -> tuple[Part, ...]:
    """Optocoupler, its collector resistor, the diodes that guard its LED, the jack."""
    low = body.lower()
    pullup_ohm, grade = (100e3, "1 mA") if high_voltage else (10e3, "5 mA")
    values = specs.OPTOCOUPLER_LOW_CURRENT if high_voltage else specs.OPTOCOUPLER
    return (
        part(
            f"U21{body}",
            "optocoupler",
            f"Optocoupler, phototransistor, transfer ratio 100 % or more at {grade}, isolation 2.5 kV",
            "carries the contact's closing over to the board and nothing else",
            {
                "anode": f"{body}_SYNC_A",
                "cathode": f"{body}_SYNC_K",
                "collector": f"sync_{low}",
                "emitter": GND,
            },
            values,
        ),
        resistor(
            f"R22{body}",
            pullup_ohm,
            V3,
            f"sync_{low}",
            "the input's only pull-up (the chip's own is off): small enough to be quick, large enough to saturate; "
            "fit it even where the body has no sync contact",
        ),
        part(
            f"D21{body}",
            "diode",
            "Diode, small signal, 75 V, 0.15 A",
            "spares the optocoupler's LED from reverse voltage when the lead is the wrong way round",
            {"anode": f"{body}_SYNC_K", "cathode": f"{body}_SYNC_A"},
            specs.SIGNAL_DIODE,
        ),
        part(
            f"D22{body}",
            "diode",
            "Rectifier diode, 1000 V, 1 A" if high_voltage else "Diode, small signal, 75 V, 0.15 A",
            "lets current out to the contact and none in: a positive voltage on the terminal stays outside, "
            "and in the zero check neither cell feeds the other's LED",
            {"anode": f"{body}_SYNC_K", "cathode": f"{body}_SYNC_C"},
            specs.BLOCKING_DIODE if high_voltage else specs.SIGNAL_DIODE,
        ),
        part(
            f"J21{body}",
            "jack_sync",
            "Coaxial panel socket, outer insulated from the panel",
            "sync socket; centre positive, neither side joined to the panel",
            {"centre": f"{body}_SYNC_C", "outer": f"{body}_SYNC_O"},
        ),
    )


def _cell(ref: str, plus: str, minus: str, nine: bool) -> Part:
    sort = "Battery 9 V, alkaline, with clip" if nine else "Battery holder, 3 alkaline cells, 4.5 V"
    why = (
        "floating supply of this contact alone: nothing joins it to the other body or the board; change it "
        f"at {7 if nine else 3.6:g} V"
    )
    return part(
        ref, "cell", sort, why, {"plus": plus, "minus": minus}, specs.CELL_9V if nine else specs.CELL_4V5
    )


def sync(body: str, variant: str) -> Sheet:
    """Sync input of one body. `variant` is one of SYNC_VARIANTS. Raises ValueError otherwise."""
    low = body.lower()
    outer, anode = f"{body}_SYNC_O", f"{body}_SYNC_A"
    wet = f"{body}_WET"
    if variant == "cell":
        parts = (
            _cell(f"B21{body}", wet, outer, nine=False),
            resistor(
                f"R21{body}",
                470.0,
                wet,
                anode,
                "current through contact and LED: 3 to 7 mA keep a contact clean",
            ),
            *_sync_ends(body, high_voltage=False),
        )
        title = f"Sync input, body {body}: mechanical contact"
    elif variant == "wetted":
        store = f"{body}_STORE"
        parts = (
            _cell(f"B21{body}", wet, outer, nine=True),
            resistor(
                f"R23{body}",
                220e3,
                wet,
                store,
                "recharges the capacitor, and lets through far less than a semiconductor needs to stay on",
            ),
            part(
                f"C21{body}",
                "capacitor",
                "Capacitor 1 µF, film, 63 V",
                "the whole of the charge a closing may draw",
                {"one": store, "other": outer},
                specs.capacitor(1e-6, 0.1, 63.0),
            ),
            resistor(f"R21{body}", 680.0, store, anode, "peak current of the pulse, 5 to 12 mA"),
            *_sync_ends(body, high_voltage=False),
        )
        title = f"Sync input, body {body}: polarised semiconductor output"
    elif variant == "high-voltage":
        source = f"{body}_LIMIT_S"
        parts = (
            _cell(f"B21{body}", wet, outer, nine=True),
            part(
                f"Q21{body}",
                "limiter",
                "Depletion-mode MOSFET, n-channel, 500 V, 1 to 3 mA at zero gate voltage, 1.5 W package",
                "lets through 0.5 to 1.7 mA whatever the voltage, so a wrongly poled flash harms nothing",
                {"drain": wet, "source": source, "gate": anode},
                specs.LIMITER,
            ),
            resistor(f"R21{body}", 470.0, source, anode, "sets the limiter's current"),
            *_sync_ends(body, high_voltage=True),
        )
        title = f"Sync input, body {body}: terminal that may carry high voltage"
    else:
        raise ValueError(f"sync variant must be one of {', '.join(SYNC_VARIANTS)}, not '{variant}'")
    return Sheet(f"sync_{variant.replace('-', '_')}_{low}", title, parts)


def gate(channel: str, variant: str) -> Sheet:
    """One gate sensor ("a1", "a2", "b1" or "b2"): photodiode, comparator, insulating holder.

    `variant` is one of GATE_VARIANTS. Raises ValueError otherwise.
    """
    body, tag = channel[0].upper(), channel.upper()
    light, threshold, wiper, kick = f"LIGHT_{tag}", f"THR_{tag}", f"WIPER_{tag}", f"KICK_{tag}"
    signal = f"gate_{channel}"
    if variant == "load":
        front: tuple[Part, ...] = (
            _photodiode(tag, V3, light),
            resistor(
                f"R41{tag}",
                10e3,
                light,
                GND,
                "load: turns photocurrent into voltage; small, to be quick, and so only for 30 000 lx and more",
            ),
        )
        title = f"Gate sensor {channel}: photodiode with load"
    elif variant in AMPLIFIED:
        gain_ohm, back_f, back_sort = AMPLIFIED[variant]
        dark = f"SUM_{tag}"
        front = (
            _photodiode(tag, dark, GND),
            part(
                f"U42{tag}",
                "opamp",
                "Operational amplifier, rail-to-rail in and out, 10 MHz, 3.3 V",
                "turns photocurrent into voltage without slowing the diode",
                {"plus": GND, "minus": dark, "out": light, "vcc": V3, "gnd": GND},
                specs.OPAMP,
            ),
            resistor(f"R41{tag}", gain_ohm, light, dark, "gain of the amplifier, volts an ampere"),
            part(
                f"C43{tag}",
                "capacitor",
                back_sort,
                "keeps the amplifier from ringing",
                {"one": light, "other": dark},
                specs.capacitor(back_f, 0.05),
            ),
            decoupling(f"C44{tag}", V3),
        )
        behind = " behind a lens" if variant == "through-lens" else ""
        title = f"Gate sensor {channel}: photodiode with amplifier{behind}"
    else:
        raise ValueError(f"gate variant must be one of {', '.join(GATE_VARIANTS)}, not '{variant}'")
    parts = (
        *front,
        part(
            f"RV41{tag}",
            "trimmer",
            "Trimmer 10 kΩ, 10 turns",
            "threshold: set to half of the lamp's steady signal, the shutter held open",
            {"one": f"TOP_{tag}", "wiper": wiper, "other": GND},
            {"resistance_ohm": 10e3, "tolerance": 0.1, "power_w": 0.25, "position": HALF_AT[variant]},
        ),
        resistor(
            f"R42{tag}", 12e3, V3, f"TOP_{tag}", "keeps the threshold inside the comparator's input range"
        ),
        resistor(f"R43{tag}", 3300.0, wiper, threshold, "with the next, sets the hysteresis"),
        resistor(f"R44{tag}", 1e6, threshold, kick, "hysteresis of about 10 mV: one edge for one crossing"),
        part(
            f"C45{tag}",
            "capacitor",
            "Capacitor 100 pF, ceramic C0G, 50 V",
            "lets the hysteresis die away in 0.1 ms: both edges are judged at the same threshold, half the light",
            {"one": kick, "other": signal},
            specs.capacitor(100e-12, 0.05),
        ),
        resistor(f"R45{tag}", 2200.0, V3, signal, "pull-up of the open-collector output"),
        part(
            f"U41{tag}",
            "comparator",
            "Comparator, open collector, 3.3 V, 2 µs or quicker",
            "pulls the input low while light is above the threshold",
            {"plus": threshold, "minus": light, "out": signal, "vcc": V3, "gnd": GND},
            specs.COMPARATOR,
        ),
        decoupling(f"C41{tag}", V3),
        part(
            f"C42{tag}",
            "capacitor",
            "Capacitor 100 nF, ceramic, 50 V",
            "holds the threshold still",
            {"one": wiper, "other": GND},
            specs.capacitor(100e-9, 0.2),
        ),
        part(
            f"H41{tag}",
            "insulator",
            "Sensor holder, black plastic, with a slit mask 0.3 mm wide across the sweep",
            "keeps the board's ground off the body and the sensor off the curtain; narrows what it sees",
            {"one": GND, "other": f"{body}_SHELL"},
            {"isolation_v": 500.0, **specs.SLIT_MASK},
        ),
    )
    return Sheet(f"gate_{variant.replace('-', '_')}_{channel}", title, parts)


def _photodiode(tag: str, cathode: str, anode: str) -> Part:
    return part(
        f"D41{tag}",
        "photodiode",
        "Photodiode, silicon, 7 mm², clear window, 0.27 A/W at 550 nm, about 6 nA a lux of white LED",
        "sees the light at the film gate",
        {"anode": anode, "cathode": cathode},
        specs.PHOTODIODE,
    )


def slit_share(photodiode: Part) -> float:
    """Share of the diode's area that the slit mask leaves bare."""
    return specs.SLIT_MASK["width_m"] * photodiode.value("side_m") / photodiode.value("area_m2")


def gate_lamp() -> Sheet:
    """The lamp the gate sensors look at: on direct current, its own supply, no dimmer that chops."""
    parts = (
        part(
            "G45",
            "supply",
            "Direct-current supply 12 V, 1 A, double insulated, or a 12 V battery",
            "direct current: lamps on the mains flicker 100 or 120 times a second and blur the instants",
            {"plus": "LAMP_P", "minus": "LAMP_N"},
            {"supply_v": 12.0, "supply_v_min": 11.4, "supply_v_max": 12.6, "current_max_a": 1.0},
        ),
        part(
            "R45",
            "resistor",
            "Resistor 22 Ω, 5 %, 5 W",
            "sets the lamp's current; a dimmer that chops would show in every edge",
            {"one": "LAMP_P", "other": "LAMP_A"},
            specs.resistor(22.0, 0.05, 5.0),
        ),
        part(
            "D45",
            "led",
            "LED, white, 1 W, 3000 to 5000 K, on a heat sink",
            "3000 to 15 000 lx at the slit from 90 to 50 mm, 3000 to 5000 K; cool enough for cloth curtains",
            {"anode": "LAMP_A", "cathode": "LAMP_D"},
            {
                "forward_v": 3.1,
                "forward_v_min": 2.8,
                "forward_v_max": 3.5,
                "current_max_a": 0.35,
                **specs.GATE_LAMP,
            },
        ),
        part(
            "D46",
            "led",
            "LED, white, 1 W, 3000 to 5000 K, on a heat sink",
            "the second of two in series; both in a white box behind a diffuser strip 10 mm along the sweep",
            {"anode": "LAMP_D", "cathode": "LAMP_N"},
            {
                "forward_v": 3.1,
                "forward_v_min": 2.8,
                "forward_v_max": 3.5,
                "current_max_a": 0.35,
                **specs.GATE_LAMP,
            },
        ),
    )
    return Sheet("gate_lamp", "Lamp for the gate sensors", parts)
