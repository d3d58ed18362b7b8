"""The schematics: drawn from the netlist, checked against it, kept as SVG under `svg/`.

A drawing whose lines join other pins than the netlist does raises at once: a wrong picture cannot be
written. schemdraw is imported only when something is drawn.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.durable import make_folder, write_outputs
from coincide_wiring.circuits import body as circuits_body
from coincide_wiring.circuits import box as circuits_box
from coincide_wiring.circuits import recording as circuits_recording
from coincide_wiring.circuits import sensors as circuits_sensors
from coincide_wiring.circuits.model import NOT_CONNECTED, Sheet
from coincide_wiring.netlist import Build, sheets

if TYPE_CHECKING:
    from coincide_wiring.draw.sketch import Sketch

FOLDER = Path(__file__).parent / "svg"
# Nets that go on beyond their sheet and so must carry their name on the drawing.
BESIDE = ("GND", "3V3", "VBUS", "USB_EARTH", "RIG_METAL")
TITLE_ABOVE = 1.2


class WrongDrawing(Exception):
    """The picture and the netlist say different things."""


def drawn_sheets(body: str = "A") -> tuple[Sheet, ...]:
    """Every sheet there is a drawing of, with the circuits of one body; the other's are the same with its letter."""
    return (
        circuits_box.board(),
        circuits_body.release(body),
        circuits_body.solenoid(body),
        *(circuits_sensors.sync(body, variant) for variant in circuits_sensors.SYNC_VARIANTS),
        *(circuits_sensors.gate(f"{body.lower()}1", variant) for variant in circuits_sensors.GATE_VARIANTS),
        circuits_sensors.gate_lamp(),
        circuits_box.controls(),
        circuits_box.lights(),
        circuits_box.lamp_row(),
        circuits_body.bodies(),
        circuits_body.loopback(),
        *(circuits_recording.recording(variant) for variant in circuits_recording.RECORDING_VARIANTS),
    )


def _layout(sheet: Sheet) -> Callable[[Sketch], None]:
    """What draws a sheet, by its name: 'sync_high_voltage_b' is the high-voltage sync input of body B."""
    from coincide_wiring.draw import body as layout_body
    from coincide_wiring.draw import box as layout_box
    from coincide_wiring.draw import recording as layout_recording

    single = {
        "board": layout_box.board,
        "gate_lamp": layout_body.gate_lamp,
        "controls": layout_box.controls,
        "lights": layout_box.lights,
        "lamp_row": layout_box.lamp_row,
        "bodies": layout_body.bodies,
        "loopback": layout_body.loopback,
    }
    if sheet.name in single:
        return single[sheet.name]
    circuit, _, tag = sheet.name.rpartition("_")
    kind, _, variant = circuit.partition("_")
    letter = tag.upper()
    by_kind: dict[str, Callable[[Sketch], None]] = {
        "recording": layout_recording.layout,
        "release": lambda s: layout_body.release(s, letter),
        "solenoid": lambda s: layout_body.solenoid(s, letter),
        "sync": lambda s: layout_body.sync(s, letter, variant.replace("_", "-")),
        "gate": lambda s: (
            layout_body.gate_load(s, tag) if variant == "load" else layout_body.gate_transimpedance(s, tag)
        ),
    }
    return by_kind[kind]


def draw(sheet: Sheet) -> bytes:
    """The SVG of a sheet. Raises WrongDrawing where picture and netlist disagree."""
    from coincide_wiring.draw.sketch import Sketch

    sketch = Sketch(sheet)
    _layout(sheet)(sketch)
    compare(sketch)
    left = min(x for x, _ in sketch.pins.values())
    top = max(y for _, y in sketch.pins.values())
    return sketch.finish((left - 1.5, top + TITLE_ABOVE))


def compare(sketch: Sketch) -> None:
    """Picture against netlist: the same parts, the same pins, joined the same way, every outer net named."""
    sheet = sketch.sheet
    wanted_pins = {(one.ref, pin) for one in sheet.parts for pin in one.pins}
    if wanted_pins != set(sketch.pins):
        raise WrongDrawing(
            f"{sheet.name}: pins drawn and pins listed differ: {wanted_pins ^ set(sketch.pins)}"
        )
    wanted = {frozenset(pins) for pins in sheet.nets().values()}
    found = sketch.joined()
    if wanted != found:
        raise WrongDrawing(f"{sheet.name}: joined otherwise than the netlist: {wanted ^ found}")
    for net, nets in sketch.flag_names():
        if nets != {net}:
            raise WrongDrawing(f"{sheet.name}: the flag {net} sits on {sorted(nets)}")
    named = {net for net, _ in (*sketch.flags, *sketch.names)}
    unnamed = [net for net in sheet.nets() if goes_beyond(sheet, net) and net not in named]
    if unnamed:
        raise WrongDrawing(f"{sheet.name}: these nets go on elsewhere and carry no name: {unnamed}")


def goes_beyond(sheet: Sheet, net: str) -> bool:
    """Whether another sheet uses the net too."""
    if net.startswith(NOT_CONNECTED):
        return False
    # Variants of one circuit share a first word ("sync_cell_a", "sync_wetted_a") and are never built together.
    family = sheet.name.split("_")[0]
    others = [one for one in drawn_sheets() if one.name.split("_")[0] != family]
    return net in BESIDE or any(net in other.nets() for other in others)


def sheets_to_draw(build: Build | None, body: str = "A") -> tuple[Sheet, ...]:
    """The sheets of a build, both bodies, one gate sensor a body; without a build every circuit there is, for one
    body."""
    if build is None:
        return drawn_sheets(body)
    return tuple(one for one in sheets(build) if not (one.name.startswith("gate_") and one.name[-1] == "2"))


def write(folder: Path, drawn: tuple[Sheet, ...] | None = None) -> tuple[Path, ...]:
    """Draw sheets (every one of body A's) into a folder. Raises BadInput when the folder cannot be written, or holds
    another drawing of one of these names."""
    make_folder(folder)
    chosen = drawn_sheets() if drawn is None else drawn
    return tuple(write_outputs({folder / f"{sheet.name}.svg": draw(sheet) for sheet in chosen}))
