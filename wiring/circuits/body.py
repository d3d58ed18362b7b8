"""Circuits that act on a body, and what it stands on: release, solenoid, metal, loopback plug.

Every function takes the body's letter ("A" or "B"); the two bodies get the same circuit with their own
references and nets, and nothing in common but the board's supply on the far side of the isolators.
"""

from __future__ import annotations

from coincide_wiring.circuits import specs
from coincide_wiring.circuits.box import LED_RETURN, pull_down, resistor
from coincide_wiring.circuits.model import Part, Sheet, part

RELEASE_VARIANTS = ("contact", "solenoid")


def release(body: str) -> Sheet:
    """Half- and full-press of one body: two polarity-free isolators onto its remote terminals."""
    low = body.lower()
    parts: list[Part] = []
    for number, press in ((11, "half"), (12, "full")):
        signal, led = f"{press}_{low}", f"{body}_{press.upper()}_LED"
        parts += [
            resistor(
                f"R{number}{body}",
                330.0,
                signal,
                led,
                "LED current of the isolator, about 6 mA and 3.6 mA at the least",
            ),
            pull_down(f"R{number + 2}{body}", signal),
            part(
                f"K{number}{body}",
                "photorelay",
                "Photorelay, MOSFET output, polarity-free, 60 V, 0.3 A, operates at 2 mA, isolation 1.5 kV",
                "closes the body's contact like a dry switch, whichever way round its terminals are biased",
                {
                    "anode": led,
                    "cathode": LED_RETURN,
                    "out1": f"{body}_{press.upper()}",
                    "out2": f"{body}_COM",
                },
                specs.PHOTORELAY,
            ),
            part(
                f"D{number}{body}",
                "suppressor",
                "Suppressor diode, bidirectional, stand-off 33 V, 600 W pulse",
                "clamps what a coil or a long lead in the body throws back, before the isolator's contact breaks down",
                {"one": f"{body}_{press.upper()}", "other": f"{body}_COM"},
                specs.SUPPRESSOR,
            ),
        ]
    parts.append(
        part(
            f"J11{body}",
            "jack_release",
            "Panel jack, 3 contacts, all insulated from the panel",
            "release socket of the body; its sleeve must not touch the panel",
            {"half": f"{body}_HALF", "full": f"{body}_FULL", "common": f"{body}_COM"},
        )
    )
    return Sheet(f"release_{low}", f"Release outputs, body {body}", tuple(parts))


def solenoid(body: str) -> Sheet:
    """Solenoid on a cable release, plugged into the release jack instead of a body's remote lead.

    The gate hangs on a capacitor, so that a contact that stays closed lets the coil go by itself; the cut-out on the
    coil opens when a transistor fails closed; and the switch in the supply ends either at once.
    """
    plus, switched, fused, warm, minus, drain, clamp, gate_net = (
        f"{body}_SOL_{end}" for end in ("P", "S", "F", "C", "N", "D", "Z", "G")
    )
    drive = f"{body}_FULL"
    parts = (
        part(
            f"G51{body}",
            "supply",
            "Direct-current supply 12 V, 1 A, double insulated, one for each solenoid",
            "keeps the coil's current out of the box and the two bodies apart",
            {"plus": plus, "minus": minus},
            specs.SOLENOID_SUPPLY,
        ),
        part(
            f"S51{body}",
            "switch",
            "Toggle switch, 2 A",
            "the coil's own off: ends a pull that nothing else ends; within reach, apart from the box's interlock",
            {"one": plus, "other": switched},
        ),
        part(
            f"F51{body}",
            "fuse",
            "Resettable fuse, holds 0.9 A",
            "a shorted coil or lead ends as a warm fuse, not as a fire; the coil's own current it never stops",
            {"one": switched, "other": fused},
            specs.FUSE,
        ),
        part(
            f"F52{body}",
            "cutout",
            "Thermal cut-out, normally closed, opens at 80 °C, 1 A, insulated, tied to the coil",
            "a transistor that failed closed would cook the coil below the fuse's current; this opens first",
            {"one": fused, "other": warm},
            specs.CUT_OUT,
        ),
        part(
            f"C51{body}",
            "capacitor",
            "Capacitor 1000 µF, electrolytic, 25 V",
            "lends the first milliseconds of coil current",
            {"one": fused, "other": minus},
            specs.capacitor(1000e-6, 0.2, 25.0),
        ),
        part(
            f"L51{body}",
            "solenoid",
            "Solenoid 12 V, 24 Ω, push, with a stroke stop and an insulating coupling to the cable release",
            "presses the cable release; the stop takes the stroke, not the shutter",
            {"coil1": warm, "coil2": drain, "frame": f"{body}_SHELL"},
            specs.SOLENOID,
        ),
        part(
            f"D51{body}",
            "diode",
            "Diode, fast, 100 V, 3 A",
            "flyback: gives the coil's current a way on when the transistor opens",
            {"anode": drain, "cathode": clamp},
            specs.FLYBACK_DIODE,
        ),
        part(
            f"D52{body}",
            "zener",
            "Suppressor or Zener diode 24 V, 10 A pulse",
            "lets the flyback voltage rise a little, so the plunger lets go in a millisecond",
            {"anode": warm, "cathode": clamp},
            specs.CLAMP_ZENER,
        ),
        part(
            f"Q51{body}",
            "mosfet",
            "Power MOSFET, n-channel, 60 V, 10 A",
            "switches the coil",
            {"gate": gate_net, "drain": drain, "source": minus},
            specs.POWER_MOSFET,
        ),
        resistor(
            f"R51{body}",
            1e3,
            fused,
            f"{body}_COM",
            "feeds the gate through the release isolator; limits what a shorted lead can draw",
        ),
        resistor(
            f"R53{body}",
            10e3,
            drive,
            minus,
            "draws the lead down when the isolator opens, and readies the capacitor for the next pull",
        ),
        part(
            f"C52{body}",
            "capacitor",
            "Capacitor 1 µF, film, 63 V",
            "passes the beginning of a closure only: a contact that never opens lets the coil go within two seconds",
            {"one": drive, "other": gate_net},
            specs.capacitor(1e-6, 0.1, 63.0),
        ),
        resistor(
            f"R52{body}",
            1e6,
            gate_net,
            minus,
            "ends the pull after a quarter of a second at the soonest; holds the transistor off at rest",
        ),
        part(
            f"D53{body}",
            "zener",
            "Zener diode 15 V, 0.5 W",
            "guards the gate",
            {"anode": minus, "cathode": gate_net},
            specs.GATE_ZENER,
        ),
    )
    return Sheet(f"solenoid_{body.lower()}", f"Solenoid driver, body {body}", parts)


def bodies(release_by: tuple[str, str] = ("contact", "contact")) -> Sheet:
    """The two bodies and the metal they stand on: what conducts, and what keeps it apart."""
    parts: list[Part] = []
    for body, how in zip("AB", release_by, strict=True):
        electric = how == "contact"
        parts += [
            part(
                f"BODY_{body}",
                "body",
                "Camera body",
                "shell, sync outer and release common may be one conductor: treated as one",
                {
                    "half": f"{body}_HALF" if electric else f"nc_{body}_half",
                    "full": f"{body}_FULL" if electric else f"nc_{body}_full",
                    "common": f"{body}_COM" if electric else f"nc_{body}_common",
                    "centre": f"{body}_SYNC_C",
                    "outer": f"{body}_SYNC_O",
                    "shell": f"{body}_SHELL",
                },
                specs.TERMINAL,
            ),
            part(
                f"E2{body}",
                "insulator",
                "Mounting plate, glass-fibre or nylon, with a nylon bush for the screw",
                "keeps the shell off the rig: two shells joined by a plate join the two bodies' circuits",
                {"one": f"{body}_SHELL", "other": "TRIPOD_PLATE"},
                {"isolation_v": 500.0},
            ),
        ]
    parts.append(
        part(
            "M1",
            "metal",
            "Rig: tripod plate, bars and screws",
            "one conductor",
            {"plate": "TRIPOD_PLATE", "rig": "RIG_METAL"},
        )
    )
    return Sheet("bodies", "Bodies and metal", tuple(parts))


def loopback() -> Sheet:
    """The plug of the zero check: all four outputs in parallel across both sync inputs."""
    pins: dict[str, str] = {}
    for body in "AB":
        pins |= {f"{body.lower()}_{end}": f"{body}_{end.upper()}" for end in ("half", "full", "com")}
        pins |= {f"{body.lower()}_centre": f"{body}_SYNC_C", f"{body.lower()}_outer": f"{body}_SYNC_O"}
    plug = part(
        "P91",
        "loopback",
        "Loopback plug: two 3-contact plugs and two coaxial plugs on one lead, wired as drawn",
        "one pulse of any output reaches both sync inputs at once; fills all four sockets, so no body is on",
        pins,
    )
    return Sheet("loopback", "Loopback plug for the zero check", (plug,))
