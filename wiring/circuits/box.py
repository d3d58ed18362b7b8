"""Circuits on the box's own side: board and supply, controls, lights, lamp row.

Each function returns one `Sheet`. Net names of board signals are the names of the firmware's pin table.
"""

from __future__ import annotations

from coincide_firmware.app.pins import LAMPS, PINS
from coincide_wiring.circuits import specs
from coincide_wiring.circuits.model import Part, Sheet, part

V3, VUSB, GND, EARTH = "3V3", "VBUS", "GND", "USB_EARTH"
LED_RETURN = "LED_RETURN"  # the four release isolators' way to ground, through the interlock's second pole
PULL_DOWN_OHM = 4700.0
PULL_DOWN_SORT = "Resistor 4.7 kΩ, 1 %, 0.25 W"
LAMPS_A_STAGE = 8
# The lines of the lamp row's cable: series resistor at the box, signal, net behind it.
LAMP_CABLE = (
    ("R84", "lamp_data", "ROW_DATA"),
    ("R85", "lamp_clock", "ROW_CLOCK"),
    ("R86", "lamp_latch", "ROW_LATCH"),
)
LAMP_STAGES = LAMPS // LAMPS_A_STAGE


def ohms(value: float) -> str:
    """A resistance as people write it: 330 Ω, 4.7 kΩ, 1 MΩ."""
    for scale, prefix in ((1e6, "M"), (1e3, "k")):
        if value >= scale:
            return f"{value / scale:g} {prefix}Ω"
    return f"{value:g} Ω"


def resistor(ref: str, ohm: float, one: str, other: str, why: str, power_w: float = 0.25) -> Part:
    """A 1 % metal-film resistor between two nets."""
    sort = f"Resistor {ohms(ohm)}, 1 %, {power_w:g} W"
    return part(
        ref, "resistor", sort, why, {"one": one, "other": other}, specs.resistor(ohm, power_w=power_w)
    )


def pull_down(ref: str, net: str) -> Part:
    """Holds an output low while nobody drives the pin."""
    why = (
        "holds the output off through power-on, reset and boot-loader; at most 8.2 kΩ, because a pin of the "
        "newer chip can push 120 µA out on its own"
    )
    return resistor(ref, PULL_DOWN_OHM, net, GND, why)


def decoupling(ref: str, rail: str) -> Part:
    """100 nF from a supply pin to ground."""
    return part(
        ref,
        "capacitor",
        "Capacitor 100 nF, ceramic, 50 V",
        "short path for the switching current of the circuit beside it",
        {"one": rail, "other": GND},
        specs.capacitor(100e-9, 0.2),
    )


def board() -> Sheet:
    """The microcontroller board on USB power, every signal of the pin table on its own net."""
    pins = {"vbus": VUSB, "v3v3": V3, "gnd": GND, "shield": EARTH}
    pins |= {f"gp{row[1]}": row[0] for row in PINS}
    parts = (
        part(
            "X1",
            "laptop",
            "USB cable with data wires, to the laptop",
            "power and data; its screen may be mains earth, so the whole board counts as earthed",
            {"vbus": VUSB, "gnd": GND, "shield": EARTH},
            specs.USB,
        ),
        part(
            "U1",
            "board",
            "Microcontroller board with an RP2040 or RP2350, GPIO 2 to 22 brought out",
            "closes the releases, times the edges",
            pins,
            specs.BOARD,
        ),
        part(
            "C1",
            "capacitor",
            "Capacitor 10 µF, ceramic, 16 V",
            "carries the 3.3 V rail through the moment four relay LEDs switch on together",
            {"one": V3, "other": GND},
            specs.capacitor(10e-6, 0.2, 16.0),
        ),
        decoupling("C2", V3),
        part(
            "E1",
            "insulator",
            "Enclosure, plastic, about 160 x 95 x 55 mm inside",
            "keeps the earthed board off the metal of the rig",
            {"one": GND, "other": "RIG_METAL"},
            {"isolation_v": 1000.0},
        ),
    )
    return Sheet("board", "Board and supply", parts)


def _control(number: int, signal: str, switch_net: str) -> tuple[Part, ...]:
    """Pull-up, series resistor and capacitor of one control input."""
    return (
        resistor(f"R{number}1", 10e3, V3, signal, "pull-up: an open or broken lead reads 'not pressed'"),
        resistor(
            f"R{number}2", 1e3, signal, switch_net, "limits the current of a static discharge on the lead"
        ),
        part(
            f"C{number}1",
            "capacitor",
            "Capacitor 10 nF, ceramic, 50 V",
            "takes static discharges and what the lead picks up; the interlock still opens within 0.1 ms",
            {"one": signal, "other": GND},
            specs.capacitor(10e-9),
        ),
    )


def controls() -> Sheet:
    """The photographer's own button, the interlock, 'wound' and 'preset'."""
    parts: list[Part] = [
        part(
            "S60",
            "button2",
            "Two-stage push button (half, full), or a two-stage release handle",
            "the photographer's own release",
            {"half": "SW_HALF", "full": "SW_FULL", "common": GND},
        )
    ]
    parts += [*_control(60, "button_half", "SW_HALF"), *_control(61, "button_full", "SW_FULL")]
    for number, signal, kind, sort, why in (
        (
            62,
            "interlock",
            "switch2",
            "Toggle switch, two poles",
            "interlock: closed = may fire. One pole tells the chip, the other is the isolators' only way to ground: "
            "open, no output can close, whatever the chip does",
        ),
        (63, "wound", "button", "Push button, or a foot switch on a lead", "'both bodies are wound'"),
        (64, "preset", "button", "Push button", "steps through the stored presets"),
    ):
        net = f"SW_{signal.upper()}"
        pins = {"one": net, "other": GND}
        if kind == "switch2":
            pins |= {"return1": LED_RETURN, "return2": GND}
        parts.append(part(f"S{number}", kind, sort, why, pins))
        parts += _control(number, signal, net)
    return Sheet("controls", "Button, interlock, wound, preset", tuple(parts))


def lights() -> Sheet:
    """The two status LEDs, each behind a transistor: a blue LED needs more than a pin can promise."""
    parts: list[Part] = []
    for number, signal, colour, values, ohm in (
        (70, "led_ok", "blue", specs.BLUE_LED, 330.0),
        (71, "led_out", "orange", specs.ORANGE_LED, 680.0),
    ):
        base, collector, anode = f"LED{number}_B", f"LED{number}_K", f"LED{number}_A"
        parts += [
            resistor(
                f"R{number}1", 4700.0, signal, base, "base current for the transistor, 0.5 mA at the least"
            ),
            pull_down(f"R{number}2", signal),
            part(
                f"Q{number}",
                "npn",
                "NPN transistor, 40 V, 0.2 A, gain 60 or more",
                "switches the LED, fed from 5 V because a blue one wants up to 3.4 V",
                {"base": base, "collector": collector, "emitter": GND},
                specs.NPN,
            ),
            resistor(f"R{number}3", ohm, VUSB, anode, f"sets the {colour} LED's current, a few mA"),
            part(
                f"D{number}",
                "led",
                f"LED, {colour}, diffused, 20 mA",
                "blue and orange are told apart by colour-blind eyes; red and green are not",
                {"anode": anode, "cathode": collector},
                values,
            ),
        ]
    return Sheet("lights", "Status lights", tuple(parts))


def lamp_row() -> Sheet:
    """Thirty-two lamps in four stages of eight, for bodies with neither sync contact nor reachable gate."""
    parts: list[Part] = [
        pull_down("R81", "lamp_data"),
        pull_down("R82", "lamp_clock"),
        pull_down("R83", "lamp_latch"),
        *(
            resistor(
                ref, 47.0, signal, net, "at the box's end of the cable: with the pin, about its impedance"
            )
            for ref, signal, net in LAMP_CABLE
        ),
    ]
    serial = "ROW_DATA"
    for stage in range(1, LAMP_STAGES + 1):
        following = f"LAMP_NEXT{stage}" if stage < LAMP_STAGES else "nc_lamp_end"
        lines, lamps = f"LAMP_Q{stage}[8]", f"LAMP_A{stage}[8]"
        parts += [
            part(
                f"U8{stage}",
                "shift_register",
                "Shift register, 8 bit with output latch, CMOS, 3.3 V",
                "lights one lamp after another; its latch keeps the row still while bits shift",
                {
                    "data": serial,
                    "clock": "ROW_CLOCK",
                    "latch": "ROW_LATCH",
                    "enable": GND,
                    "clear": V3,
                    "vcc": V3,
                    "gnd": GND,
                    "q": lines,
                    "next": following,
                },
                specs.SHIFT_REGISTER,
            ),
            part(
                f"RN8{stage}",
                "resistor_array",
                "Resistor network 8 × 330 Ω, isolated",
                "sets each lamp's current, 2 to 5 mA: bright enough to photograph, harmless to look at",
                {"one": lines, "other": lamps},
                {**specs.resistor(330.0, 0.02), "lines": 8.0},
            ),
            part(
                f"LB8{stage}",
                "led_array",
                "LED row of 8, red, common cathode",
                "eight lamps of the row",
                {"anodes": lamps, "cathode": GND},
                {**specs.LAMP_LED, "lines": 8.0},
            ),
            decoupling(f"C8{stage}", V3),
        ]
        serial = following
    return Sheet("lamp_row", "Lamp row of the optical route", tuple(parts))
