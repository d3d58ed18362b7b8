"""What the person makes sure of before a series: each line is there because leaving it out spoilt one."""

from __future__ import annotations

from coincide.rig.model import Rig
from coincide.rig.parts import FocalPlane


def checklist(rig: Rig) -> tuple[str, ...]:
    """The items for this rig, in the order of the hand. Common practice, no source."""
    names = " and ".join(body.name for body in rig.both)
    items = [
        f"No flash anywhere on {names}, built-in ones included; nothing but the box on the sync contacts.",
        "No film in the bodies, or film that you accept as spent.",
    ]
    for body in rig.both:
        lens, shutter = body.lens, body.shutter
        items.append(
            f"{body.name}: shutter at {shutter.exposure}, lens fitted and set to f/{lens.aperture:g}, manual "
            "focus, manual exposure (no automatic time: mid-exposure would be unknowable)."
        )
        if body.wind == "manual":
            items.append(f"{body.name}: frame counter past 1, since some bodies ignore the set speed before.")
        else:
            items.append(f"{body.name}: single frames, not continuous drive.")
        if isinstance(shutter, FocalPlane):
            items.append(f"{body.name}: self-timer off, mirror as it will be when you shoot.")
        else:
            items.append(f"{body.name}: self-timer off.")
        if body.release == "solenoid":
            items.append(
                f"{body.name}: stroke stop of the plunger set; let the solenoid cool between series."
            )
    return tuple(items)
