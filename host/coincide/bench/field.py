"""What the box will do alone, in the field: which of it does not go with the calibration, and how to mend it."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from coincide.bench.opening.knowledge import known_now
from coincide.rig.plan import rig_plan
from coincide.timing.offset.preset import box_preset

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.calibration import Calibration
    from coincide.rig.model import Rig

ROLL_FRAMES = 36  # the log should hold one more roll; the common length, common practice, no source
STORE = "Mend it: coincide box settings --store"
NEAREST_NS = 1_000  # less than a microsecond apart is rounding


def field_settings(rig: Rig) -> dict[str, int]:
    """How the box fires on its own button, for this rig."""
    return {
        "manual_wind": int(any(body.wind == "manual" for body in rig.both)),
        "lead_ms": round(rig.release.lead_s * 1e3),
        "closure_ms": round(rig.release.closure_s * 1e3),
        "window_ms": rig_plan(rig).window_ns // 1_000_000,
    }


def preset_words(preset: dict[str, Any]) -> str:
    """'holds A back 16.180 ms, tolerance 3.07 ms'."""
    side = "B" if preset["delay_b_ns"] else "A"
    delay_ns = preset["delay_b_ns"] or preset["delay_a_ns"]
    return f"holds {side} back {delay_ns * 1e-6:.3f} ms, tolerance {preset['tolerance_ns'] * 1e-6:.2f} ms"


def held_preset(client: BoxClient, name: str) -> dict[str, Any] | None:
    """The preset of this name in the box, or None."""
    names = client.identify().presets
    return client.preset(names.index(name)) if name in names else None


def not_as_calibrated(
    client: BoxClient, rig: Rig, rig_path: Path, calibration: Calibration
) -> tuple[str, ...]:
    """Why the box alone would not do what was calibrated, a sentence each with the command that mends it; empty when
    it will."""
    wanted = box_preset(rig, calibration, known_now(rig, rig_path, client.identity))
    name = str(wanted["name"])
    held = held_preset(client, name)
    if held is None:
        return (
            f"The box holds no preset {name}: alone in the field it would fire without this offset. {STORE}",
        )
    said = []
    if any(
        abs(held[key] - int(value)) > NEAREST_NS for key, value in wanted.items() if key.endswith("_ns")
    ) or any(held[key] != wanted[key] for key in ("how_a", "how_b")):
        said.append(
            f"The box's preset {name} {preset_words(held)}; calibrated was: {preset_words(wanted)}. {STORE}"
        )
    stored = client.settings()["values"]
    in_use = client.identify().presets[stored["preset"]]
    if in_use != name:
        used = "no preset" if in_use is None else f"preset {in_use}"
        said.append(f"The box has {used} in use, not {name}. Mend it: coincide box settings --use {name}")
    if not stored["field"]:
        said.append("The box's own button is set not to fire (setting 'field' is 0).")
    for key, value in field_settings(rig).items():
        if stored[key] != value:
            said.append(f"The box's setting {key} is {stored[key]}; the rig wants {value}. {STORE}")
    log = client.framelog(0, 1)
    left = log.capacity - log.entries
    if left < ROLL_FRAMES:
        said.append(
            f"The frame log has room for {left} more frames, less than a roll of {ROLL_FRAMES}. "
            "Mend it: coincide framelog --csv roll.csv --clear"
        )
    if not client.status().interlock:
        said.append("The interlock is open: close it.")
    return tuple(said)
