"""Mid-exposure from the sync contact: sync edge -> half-peak open at frame centre -> plus half the exposure.

Either step comes from what a series with a gate sensor taught (`Learned`), else from the shutter's model
with more uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coincide.rig.calibration import Learned
from coincide.rig.model import Body
from coincide.timing.budget.part import Part, rectangular
from coincide.timing.shutter.traits import (
    APERTURE_U,
    BLADES_U,
    TRAVEL_U,
    ShutterModel,
    exposure_limits_s,
    shutter_model,
)

Floats = npt.NDArray[np.float64]

EXPOSURE_STOPS = 1 / 3  # how far a marked time may be from the true one, as a half-width; ISO 516 (memory)
ZERO = "measure it: 'coincide box check --zero'"
LEARN = "fire one series with a gate sensor: it learns this"
INPUT_DELAY = "sync input delay"
M_EARLY_S = 0.008  # bulb and M posts close some 10 to 20 ms before the shutter is open; common practice


@dataclass(frozen=True, slots=True)
class SyncView:
    """mid_s (n,), NaN where no edge; type B parts; why sync cannot tell, or None; sentences to mind."""

    mid_s: Floats
    parts: tuple[Part, ...] = ()
    refusal: str | None = None
    complaints: tuple[str, ...] = ()


def look_at_sync(sync_s: Floats, body: Body, letter: str, learned: Learned | None) -> SyncView:
    """Mid-exposure at frame centre from sync closings (n,), seconds from each shot's start."""
    nothing = np.full(sync_s.size, np.nan)
    if body.sync == "none":
        return SyncView(nothing)
    who, shutter = f"body {letter} ({body.name})", shutter_model(body)
    refusal = sync_refusal(body, letter, learned)
    if refusal is not None:
        return SyncView(nothing, refusal=refusal)
    to_open, contact = _to_open(shutter, learned)
    exposure, length = _exposure(shutter, learned)
    delay = rectangular(INPUT_DELAY, body.sensors.sync.delay_uncertainty_s, ZERO)
    parts = tuple(part for part in (delay, *contact, *length) if part.u_s > 0)
    complaints: tuple[str, ...] = ()
    if learned is None or learned.sync_to_open_s is None:
        complaints = (
            f"Nothing has shown yet that the contact of {who} is X: a bulb or M post closes 10 to 20 ms early and "
            "looks like a lag. Fire one series with a gate sensor.",
        )
    return SyncView(sync_s - body.sensors.sync.delay_s + to_open + 0.5 * exposure, parts, None, complaints)


def sync_to_mid_s(body: Body, letter: str, learned: Learned | None) -> float | None:
    """What to add to the edge of the sync input for mid-exposure at frame centre; None where sync cannot
    tell."""
    if body.sync == "none" or sync_refusal(body, letter, learned) is not None:
        return None
    shutter = shutter_model(body)
    return _to_open(shutter, learned)[0] + 0.5 * _exposure(shutter, learned)[0] - body.sensors.sync.delay_s


def sync_refusal(body: Body, letter: str, learned: Learned | None) -> str | None:
    """Why the sync contact of this body cannot tell its exposure, or None."""
    shutter, who = shutter_model(body), f"body {letter} ({body.name})"
    if shutter.kind == "rows" and shutter.marked_s <= shutter.sweep_s:
        return (
            f"Not measurable by sync, because the rows of {who} are never all open at {body.shutter.exposure}; use the "
            "lamp row or a slower speed."
        )
    if shutter.kind == "curtains" and shutter.marked_s < 0.99 * shutter.x_speed_s:
        return (
            f"X suppressed at this speed: {who} is set to {body.shutter.exposure}, faster than its sync speed; "
            "use a gate sensor, or a slower speed."
        )
    if shutter.kind == "blades" and shutter.marked_s < 0.5 * (shutter.opening_s + shutter.closing_s):
        return (
            f"Not measurable by sync, because the blades of {who} never open fully at {body.shutter.exposure}; "
            "use a gate sensor or a slower speed."
        )
    if body.sync in ("M", "FP") and (learned is None or learned.sync_to_open_s is None):
        return (
            f"Not measurable by sync, because an {body.sync} contact closes 10 to 20 ms before the shutter of {who} "
            "is open; connect X, or fire one series with a gate sensor to learn it."
        )
    return None


def looks_like_m(sync_to_open_s: float, shutter: ShutterModel, who: str) -> str | None:
    """A contact that closes far ahead of X, as a bulb or M post does: the warning, or None."""
    early = sync_to_open_s - shutter.sync_to_open_s
    if early < M_EARLY_S:
        return None
    return (
        f"The contact of {who} closes {early * 1e3:.0f} ms before the shutter is fully open, as a bulb or M post does: "
        "connect X if you mean to use flash. Timing goes by what was learned."
    )


def _to_open(shutter: ShutterModel, learned: Learned | None) -> tuple[float, tuple[Part, ...]]:
    """From sync closing to half-peak open at frame centre, and its parts."""
    if learned is not None and learned.sync_to_open_s is not None and learned.sync_to_open_u_s is not None:
        part = Part(
            "sync to open, as learned", learned.sync_to_open_u_s, "normal", "learn it from more shots"
        )
        return learned.sync_to_open_s, (part,)
    placement = rectangular("sync contact's placement", shutter.contact_u_s, LEARN)
    to_open = shutter.sync_to_open_s
    if shutter.kind == "blades":
        blades = Part("blades' opening time", BLADES_U * abs(to_open), "normal", LEARN)
        stopped = 0.5 * shutter.opening_s * (1.0 - shutter.area)
        return to_open, (placement, blades, Part("blades' law", APERTURE_U * stopped, "normal", LEARN))
    curve_u = shutter.curve_effect(lambda curve: shutter.time_at(0.5, curve))
    travel = Part("travel time as given", TRAVEL_U * abs(to_open), "normal", LEARN)
    return to_open, (
        placement,
        travel,
        Part("curtain speed curve", curve_u, "normal", LEARN),
    )


def _exposure(shutter: ShutterModel, learned: Learned | None) -> tuple[float, tuple[Part, ...]]:
    """Exposure, and what it gives to mid-exposure: half of its uncertainty."""
    if learned is not None and learned.exposure_s is not None and learned.exposure_u_s is not None:
        part = Part("exposure, as learned", 0.5 * learned.exposure_u_s, "normal", "learn it from more shots")
        return learned.exposure_s, (part,)
    half_width = exposure_limits_s(shutter.marked_s, EXPOSURE_STOPS)
    mark = rectangular("true exposure against the mark", 0.5 * half_width, LEARN)
    grown = shutter.exposure_grown_s
    return shutter.marked_s + grown, (mark, Part("stopping down", 0.5 * APERTURE_U * grown, "normal", LEARN))
