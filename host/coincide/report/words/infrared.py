"""Infrared as sentences and rows: the answer first, the bracket last."""

from __future__ import annotations

import math
from collections.abc import Iterator

from coincide.planning.infrared.bracket import Bracket, BracketPair, Setting
from coincide.planning.infrared.focus import InfraredFocus
from coincide.report.words.figures import UM, figure
from coincide.report.words.series import who
from coincide.rig.model import Rig


def answer_line(rig: Rig, found: InfraredFocus, *, refocused: bool) -> str:
    """What to do about focus; alone on its line."""
    name = who(rig)[found.body]
    if refocused:
        return (
            f"{name} is refocused: its picture is {found.grows:.2%} larger, {figure(found.grows_m * UM)} um in the "
            "corner; register with scale."
        )
    if found.hidden:
        return (
            f"{name} hides its focus shift at f/{found.aperture:g}: {figure(found.blur_m * UM)} um of blur, "
            f"{figure(found.allowed_m * UM)} um allowed."
        )
    mark = (
        "no aperture of the lens hides it"
        if found.hides_mark is None
        else f"or stop down to f/{found.hides_mark:g}"
    )
    return (
        f"{name} at f/{found.aperture:g} is out of focus in the infrared by {figure(found.blur_m * UM)} um, "
        f"{figure(found.allowed_m * UM)} um allowed: {_refocus(found)}, {mark}."
    )


def reason_lines(found: InfraredFocus) -> Iterator[str]:
    """Where that comes from."""
    source = (
        "as the rig says" if found.shift_known else "rough: a 250th of the focal length (common practice)"
    )
    hides = "beyond its range" if found.hides_mark is None else f"f/{found.hides_mark:g}"
    yield (
        f"Focus: infrared comes together {found.shift_m * 1e3:.2f} mm farther from the lens ({source}); "
        f"{hides} hides it (f/{found.hides_f:.1f} by the sum). To refocus, {_refocus(found)}, or use the "
        "lens's own mark."
    )
    yield (
        f"Scale: refocused, the picture is {found.grows:.2%} larger, {figure(found.grows_m * UM)} um in the corner. "
        "Shift and turn do not remove that: register with scale."
    )
    last = "every aperture of the lens" if found.diffraction_mark is None else f"f/{found.diffraction_mark:g}"
    yield (
        f"Diffraction: at f/{found.aperture:g} its disc is {figure(found.airy_m * UM)} um at 800 nm "
        f"({figure(found.airy_green_m * UM)} um in green light); it stays within the {figure(found.allowed_m * UM)} um "
        f"allowed down to {last}."
        if found.diffraction_mark is not None
        else f"Diffraction: at 800 nm its disc is larger than the {figure(found.allowed_m * UM)} um allowed at {last}."
    )


def bracket_line(rig: Rig, plan: Bracket) -> str:
    """Why a bracket at all, and what it keeps."""
    infrared, other = who(rig)[plan.body], who(rig)[1 - plan.body]
    say = (
        f"The meter does not see infrared: bracket {infrared} so, in this order; {other} gets the same light every "
        "time. A preset belongs to a pair of shutter times, so these change only where a preset is there."
    )
    missing = sorted({pair.preset for pair in plan.pairs if pair.calibration is None})
    if missing:
        say += f" Missing: a calibration of {', '.join(missing)}; run 'coincide calibrate' with it."
    stale = {pair.preset: pair.stale[0] for pair in plan.pairs if pair.stale}
    for preset, why in sorted(stale.items()):
        say += (
            f" Stale: the calibration of {preset} no longer holds, as {why} Run 'coincide calibrate' with it."
        )
    return say


def bracket_columns(rig: Rig) -> tuple[str, ...]:
    return ("light, stops", *who(rig), "by", "preset", "mind")


def bracket_rows(plan: Bracket, found: InfraredFocus) -> list[tuple[str, ...]]:
    """One row a pair, in the order to take them."""
    return [
        (
            f"{pair.stops:+.1f}" if pair.stops else "0",
            *(("-", "-") if pair.settings is None else (_setting(one) for one in pair.settings)),
            pair.how,
            _preset(pair),
            "; ".join(note for note in (pair.note, _focus_note(pair, plan, found)) if note),
        )
        for pair in plan.pairs
    ]


def _focus_note(pair: BracketPair, plan: Bracket, found: InfraredFocus) -> str:
    if pair.settings is None:
        return ""
    aperture = pair.settings[plan.body].aperture
    if aperture < found.hides_f * 0.99:
        return "focus must be moved"
    if aperture > found.diffraction_f * 1.01:
        return "softened by diffraction"
    return ""


def _preset(pair: BracketPair) -> str:
    if pair.calibration is None:
        return f"{pair.preset} missing"
    return f"{pair.preset} stale" if pair.stale else pair.preset


def _setting(one: Setting) -> str:
    grey = f", grey {one.filter_stops:g} stops" if one.filter_stops else ""
    return f"{one.exposure} f/{one.aperture:g}{grey}"


def _refocus(found: InfraredFocus) -> str:
    now = "infinity" if found.focused_m is None or math.isinf(found.focused_m) else f"{found.focused_m:g} m"
    if math.isinf(found.instead_m):
        return "the lens stays at infinity"
    return f"set the focusing scale to {figure(found.instead_m)} m instead of {now}"
