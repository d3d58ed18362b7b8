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
from coincide_wiring.circuits import sensors as circuits_sensors
from coincide_wiring.circuits.model import NOT_CONNECTED, Sheet

if TYPE_CHECKING:
    from coincide_wiring.draw.sketch import Sketch

FOLDER = Path(__file__).parent / "svg"
# Nets that go on beyond their sheet and so must carry their name on the drawing.
BESIDE = ("GND", "3V3", "VBUS", "USB_EARTH", "RIG_METAL")
TITLE_ABOVE = 1.2
# The gate sensor behind a lens is the amplified one with two other values.
DRAWN_GATES = ("transimpedance", "load")


class WrongDrawing(Exception):
    """The picture and the netlist say different things."""


def drawn_sheets() -> tuple[Sheet, ...]:
    """Every sheet there is a drawing of. Body B's circuits are body A's, so each is drawn once."""
    return (
        circuits_box.board(),
        circuits_body.release("A"),
        circuits_body.solenoid("A"),
        *(circuits_sensors.sync("A", variant) for variant in circuits_sensors.SYNC_VARIANTS),
        *(circuits_sensors.gate("a1", variant) for variant in DRAWN_GATES),
        circuits_sensors.gate_lamp(),
        circuits_box.controls(),
        circuits_box.lights(),
        circuits_box.lamp_row(),
        circuits_body.bodies(),
        circuits_body.loopback(),
    )


def _layouts() -> dict[str, Callable[[Sketch], None]]:
    from coincide_wiring.draw import body as layout_body
    from coincide_wiring.draw import box as layout_box

    return {
        "board": layout_box.board,
        "release_a": lambda s: layout_body.release(s, "A"),
        "solenoid_a": lambda s: layout_body.solenoid(s, "A"),
        "sync_cell_a": lambda s: layout_body.sync(s, "A", "cell"),
        "sync_wetted_a": lambda s: layout_body.sync(s, "A", "wetted"),
        "sync_high_voltage_a": lambda s: layout_body.sync(s, "A", "high-voltage"),
        "gate_load_a1": lambda s: layout_body.gate_load(s, "a1"),
        "gate_transimpedance_a1": lambda s: layout_body.gate_transimpedance(s, "a1"),
        "gate_lamp": layout_body.gate_lamp,
        "controls": layout_box.controls,
        "lights": layout_box.lights,
        "lamp_row": layout_box.lamp_row,
        "bodies": layout_body.bodies,
        "loopback": layout_body.loopback,
    }


def draw(sheet: Sheet) -> bytes:
    """The SVG of a sheet. Raises WrongDrawing where picture and netlist disagree."""
    from coincide_wiring.draw.sketch import Sketch

    sketch = Sketch(sheet)
    _layouts()[sheet.name](sketch)
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


def write(folder: Path) -> tuple[Path, ...]:
    """Draw every sheet into a folder. Raises BadInput when the folder cannot be written, or holds another drawing of
    one of these names."""
    make_folder(folder)
    return tuple(write_outputs({folder / f"{sheet.name}.svg": draw(sheet) for sheet in drawn_sheets()}))
