"""What leads to a sound input or an instrument when no box measures: two diodes, two contact microphones, two sensors.

Nothing here touches metal of a body. The plug's sleeve joins both sensors, so a holder or tape stands between
every sensor and its body; no sync or release terminal is on any of these sheets.
"""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.box import resistor
from coincide_wiring.circuits.model import Part, Sheet, part

# Each way to connect, with what it is.
RECORDING_VARIANTS = {
    "microphone": "Two diodes on a microphone input with plug-in power",
    "line": "Two diodes on a line input",
    "contact": "Two contact microphones",
    "analyser": "Two gate sensors on an instrument",
}
COMMON, TABLE = "REC_COMMON", "TABLE"
# Net of each body's channel, and what it is called on the plug or the instrument.
CHANNELS = {"A": "REC_LEFT", "B": "REC_RIGHT"}
PLUG_PINS = {"REC_LEFT": "tip", "REC_RIGHT": "ring", COMMON: "sleeve"}
LOAD_OHM = 4.7e3
TURN_UP_OHM, TURN_DOWN_OHM = 10e3, 1e3  # the load for a dim lamp and for a bright one


def recording(variant: str) -> Sheet:
    """The sheet of one way to connect. Raises ValueError for another name."""
    if variant not in RECORDING_VARIANTS:
        raise ValueError(f"A recording's circuit is one of {', '.join(RECORDING_VARIANTS)}, not '{variant}'.")
    if variant == "analyser":
        parts = (_instrument(), *(one for body in CHANNELS for one in _sensor(body)))
    elif variant == "contact":
        parts = (_plug(), *(one for body in CHANNELS for one in _contact(body)))
    else:
        parts = (_plug(), *(one for body in CHANNELS for one in _diode(body, loaded=variant == "line")))
    return Sheet(f"recording_{variant}", RECORDING_VARIANTS[variant], parts)


def _plug() -> Part:
    return part(
        "J91",
        "plug",
        "Stereo plug to fit the recorder, 3 contacts, with its lead",
        "tip is left and body A, ring is right and body B; the sleeve joins both sensors and must reach no body",
        {pin: net for net, pin in PLUG_PINS.items()},
    )


def _instrument() -> Part:
    return part(
        "P91",
        "instrument",
        "Logic analyser or oscilloscope that saves VCD or CSV",
        "its ground is that of the sensors' supply alone",
        {"d0": "gate_a1", "d1": "gate_b1", "ground": "GND"},
    )


def _diode(body: str, *, loaded: bool) -> tuple[Part, ...]:
    channel = CHANNELS[body]
    diode = part(
        f"D91{body}",
        "photodiode",
        "Photodiode, silicon, 7 mm², clear window; two of one kind",
        "sees the light at the film gate; its cathode is on the channel, where plug-in power is positive",
        {"anode": COMMON, "cathode": channel},
        specs.PHOTODIODE,
    )
    load = resistor(
        f"R91{body}",
        LOAD_OHM,
        channel,
        COMMON,
        "turns photocurrent into voltage: 1 kΩ under a bright lamp to 10 kΩ under a dim one, its top below 0.2 V",
    )
    holder = part(
        f"H91{body}",
        "insulator",
        "Sensor holder, black plastic, with a slit mask 1 mm wide across the sweep",
        "keeps the lead off the body, and narrows what the diode sees",
        {"one": COMMON, "other": f"{body}_SHELL"},
        {"isolation_v": 500.0},
    )
    return (diode, load, holder) if loaded else (diode, holder)


def _contact(body: str) -> tuple[Part, ...]:
    return (
        part(
            f"Y91{body}",
            "piezo",
            "Piezo disc, 20 to 35 mm, on brass",
            "hears the shutter through the top plate",
            {"crystal": CHANNELS[body], "brass": COMMON},
        ),
        part(
            f"H91{body}",
            "insulator",
            "Adhesive tape, over the disc's whole brass",
            "keeps the brass off the body: the sleeve joins both discs",
            {"one": COMMON, "other": f"{body}_SHELL"},
            {"isolation_v": 500.0},
        ),
        part(
            f"H92{body}",
            "insulator",
            "Folded towel under the body, half a metre from the other, off the rig's plate",
            "keeps the other body's sound away: a common plate makes every rig look well adjusted",
            {"one": f"{body}_SHELL", "other": TABLE},
            {"isolation_v": 500.0},
        ),
    )


def _sensor(body: str) -> tuple[Part, ...]:
    low = body.lower()
    return (
        part(
            f"U91{body}",
            "sensor",
            "Gate sensor with its comparator, or the box's isolated side of it",
            "gives an edge when half of the light is there",
            {"signal": f"gate_{low}1", "ground": "GND"},
        ),
        part(
            f"H91{body}",
            "insulator",
            "Sensor holder, black plastic, with a slit mask across the sweep",
            "keeps the instrument's ground off the body",
            {"one": "GND", "other": f"{body}_SHELL"},
            {"isolation_v": 500.0},
        ),
    )
