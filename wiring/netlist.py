"""The whole netlist of a build, in either of its two states, and the digest that identifies it.

In use, the bodies are on the box. For the zero check they are off and the loopback plug takes their four
sockets. The digest changes when any part, value or connection does. A stored zero check
is tied to the digests of the circuits its pulses pass.
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide_wiring.circuits import body as circuits_body
from coincide_wiring.circuits import box as circuits_box
from coincide_wiring.circuits import sensors as circuits_sensors
from coincide_wiring.circuits.model import Netlist, Sheet

BODIES = ("A", "B")


@dataclass(frozen=True, slots=True)
class Build:
    """Which circuit each body got, (A, B). Raises BadInput for a circuit that does not exist."""

    sync: tuple[str, str] = ("cell", "cell")
    release: tuple[str, str] = ("contact", "contact")
    gate: tuple[str, str] = ("transimpedance", "transimpedance")

    def __post_init__(self) -> None:
        for key, chosen, known in (
            ("sync", self.sync, circuits_sensors.SYNC_VARIANTS),
            ("release", self.release, circuits_body.RELEASE_VARIANTS),
            ("gate", self.gate, circuits_sensors.GATE_VARIANTS),
        ):
            for body, variant in zip(BODIES, chosen, strict=True):
                if variant not in known:
                    raise BadInput(
                        f"The {key} circuit of body {body} is '{variant}'; it can be {' or '.join(known)}."
                    )


def box_sheets(build: Build) -> tuple[Sheet, ...]:
    """Everything inside the box, sensors and their lamp included."""
    return (
        circuits_box.board(),
        *(circuits_body.release(body) for body in BODIES),
        *(circuits_sensors.sync(body, variant) for body, variant in zip(BODIES, build.sync, strict=True)),
        *(
            circuits_sensors.gate(channel, variant)
            for body, variant in zip(BODIES, build.gate, strict=True)
            for channel in circuits_sensors.GATES[body]
        ),
        circuits_sensors.gate_lamp(),
        circuits_box.controls(),
        circuits_box.lights(),
        circuits_box.lamp_row(),
    )


def sheets(build: Build) -> tuple[Sheet, ...]:
    """Every sheet of a build: the box, solenoid drivers where chosen, the bodies, the loopback plug."""
    return (
        *box_sheets(build),
        *(
            circuits_body.solenoid(body)
            for body, how in zip(BODIES, build.release, strict=True)
            if how == "solenoid"
        ),
        circuits_body.bodies(build.release),
        circuits_body.loopback(),
    )


def in_use(build: Build) -> Netlist:
    """The netlist with the bodies on the box and the loopback plug in its pouch."""
    return _joined(tuple(one for one in sheets(build) if one.name != "loopback"))


def zero_check(build: Build) -> Netlist:
    """The netlist with the bodies off the box and the loopback plug in their sockets.

    The sensor holders are off the bodies too, so their shell side is nobody's.
    """
    return _joined((*box_sheets(build), circuits_body.loopback()))


def _joined(chosen: tuple[Sheet, ...]) -> Netlist:
    return Netlist(tuple(one for sheet in chosen for one in sheet.parts))


def digest(build: Build) -> str:
    """Sixteen hex digits that change when a part, a value or a connection of the build changes."""
    return _digest_of(sheets(build))


def loop_digests(build: Build) -> dict[str, str]:
    """The same for each circuit that the pulses of the zero check pass, by its name: the release isolators and the sync
    inputs of both bodies. What else changes in the box leaves a zero check as it is."""
    found = {}
    for body, variant in zip(BODIES, build.sync, strict=True):
        for name, sheet in (
            ("release", circuits_body.release(body)),
            ("sync", circuits_sensors.sync(body, variant)),
        ):
            found[f"{name}_{body.lower()}"] = _digest_of((sheet,))
    return found


def _digest_of(chosen: tuple[Sheet, ...]) -> str:
    record = [
        [one.ref, one.kind, sorted(one.pins.items()), sorted(one.values.items())]
        for sheet in chosen
        for one in sheet.parts
    ]
    return hashlib.sha256(json.dumps(record, ensure_ascii=False).encode()).hexdigest()[:16]
