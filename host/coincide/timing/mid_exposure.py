"""Mid-exposure of each body in each shot, from whichever sensors there are.

    gate sensor     open o, close c at half-peak: mid = (o + c)/2, moved to frame centre along the sweep
    sync contact    x = first curtain at the far edge: o = x - curve * travel; mid = o + exposure/2
                    leaf: x = blades fully open: o = x - opening/2; mid = o + exposure/2

Both in one series: where a shot lacks its gate edges, its sync edge is used with the difference between the
two that the rest of the series showed, so that no shot jumps because it was seen another way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.rig.calibration import Learned
from coincide.rig.curtain import time_at
from coincide.rig.model import Body, Rig
from coincide.rig.parts import Electronic, ElectronicFirstCurtain, FocalPlane, GateSensor, Leaf
from coincide.session.model import BODIES, Floats, Shots

ROOT3 = float(np.sqrt(3.0))
LEAST_COMMON = 3  # shots seen both ways before the one may stand in for the other
EXPOSURE_STOPS = 1 / 3  # how far a marked time may be from the true one, as a half-width; ISO 516 (memory)


@dataclass(frozen=True, slots=True)
class Part:
    """One part of a type B uncertainty: standard uncertainty in seconds, and what would make it smaller."""

    name: str
    u_s: float
    distribution: str
    remedy: str


@dataclass(frozen=True, slots=True)
class BodyMid:
    """Mid-exposure of one body. Seconds from each shot's start; NaN where it cannot be told.

    mid_s (n,) at frame centre; exposure_s (n,) measured at a gate, else NaN. how: 'gate', 'sync' or 'none'.
    parts: what is uncertain in common to all shots. refusal: why nothing can be measured, or None.
    travel_s: measured by two gate sensors (median), else NaN.
    """

    mid_s: Floats
    exposure_s: Floats
    how: str
    parts: tuple[Part, ...]
    refusal: str | None
    travel_s: float

    @property
    def type_b_s(self) -> float:
        """Root sum of squares of the parts (GUM 5.1.2)."""
        return float(np.sqrt(sum(part.u_s**2 for part in self.parts)))


@dataclass(frozen=True, slots=True)
class MidExposures:
    """Both bodies. mid_s, exposure_s (n, 2)."""

    bodies: tuple[BodyMid, BodyMid]

    @property
    def mid_s(self) -> Floats:
        return np.stack([body.mid_s for body in self.bodies], axis=1)

    @property
    def exposure_s(self) -> Floats:
        return np.stack([body.exposure_s for body in self.bodies], axis=1)

    @property
    def type_b_s(self) -> float:
        """Standard uncertainty of every skew of the series in common."""
        return float(np.hypot(self.bodies[0].type_b_s, self.bodies[1].type_b_s))

    @property
    def refusals(self) -> tuple[str, ...]:
        return tuple(body.refusal for body in self.bodies if body.refusal is not None)


def mid_exposures(
    shots: Shots, rig: Rig, learned: tuple[Learned | None, Learned | None] = (None, None)
) -> MidExposures:
    """Mid-exposures of a series, n rows. `learned` stands in for marked values where only sync was seen."""
    first, second = (_body(shots, rig.both[i], BODIES[i], i, learned[i]) for i in (0, 1))
    return MidExposures((first, second))


def learn(shots: Shots, rig: Rig) -> tuple[Learned | None, Learned | None]:
    """What a series with both sensors teaches: None for a body with too few shots seen both ways."""
    first, second = (_learn_body(shots, rig.both[i], i) for i in (0, 1))
    return (first, second)


def _body(shots: Shots, body: Body, letter: str, index: int, learned: Learned | None) -> BodyMid:
    rows = len(shots.number)
    nothing = np.full(rows, np.nan)
    gate_mid, exposure, travel_s, gate_parts = _from_gates(shots, body, index)
    by_gate = int(np.isfinite(gate_mid).sum())
    sync_mid, sync_parts, refusal = _from_sync(shots, body, letter, index, learned)
    by_sync = int(np.isfinite(sync_mid).sum())
    if by_gate == 0 and by_sync == 0:
        return BodyMid(nothing, nothing, "none", (), refusal or _unseen(body, letter), np.nan)
    if by_gate >= max(LEAST_COMMON, by_sync // 2):
        both = np.isfinite(gate_mid) & np.isfinite(sync_mid)
        if both.sum() >= LEAST_COMMON:
            stand_in = sync_mid + np.median(gate_mid[both] - sync_mid[both])
            gate_mid = np.where(np.isfinite(gate_mid), gate_mid, stand_in)
        return BodyMid(gate_mid, exposure, "gate", gate_parts, None, travel_s)
    return BodyMid(sync_mid, exposure, "sync", sync_parts, None, travel_s)


def _unseen(body: Body, letter: str) -> str:
    return (
        f"Nothing was seen of body {letter} ({body.name}): check its sync lead and gate sensor with "
        "'coincide box check', and that it is wound and loaded."
    )


def _from_gates(shots: Shots, body: Body, index: int) -> tuple[Floats, Floats, float, tuple[Part, ...]]:
    """Mid-exposure at frame centre, exposure, travel time and type B parts from the gate sensors."""
    rows = len(shots.number)
    mids: list[Floats] = []
    exposures: list[Floats] = []
    fitted: list[GateSensor] = []
    for at, sensor in enumerate(body.sensors.gates):
        if sensor is None or not np.any(np.isfinite(shots.gate_close_s[:, index, at])):
            continue
        opened = shots.gate_open_s[:, index, at] - sensor.delay_on_s
        closed = shots.gate_close_s[:, index, at] - sensor.delay_off_s
        mids.append((opened + closed) / 2)
        exposures.append(closed - opened)
        fitted.append(sensor)
    if not fitted:
        return np.full(rows, np.nan), np.full(rows, np.nan), np.nan, ()
    delay_u = max(sensor.delay_uncertainty_s for sensor in fitted) / ROOT3
    parts = [Part("gate sensor delay", delay_u, "rectangular", "measure it: 'coincide box check --zero'")]
    shutter = body.shutter
    if isinstance(shutter, Leaf):
        return mids[0], exposures[0], np.nan, tuple(parts)
    whole_s = shutter.readout_s if isinstance(shutter, Electronic) else shutter.travel_s
    curve = shutter.curve if isinstance(shutter, FocalPlane) else 0.5
    curve_u = shutter.curve_uncertainty if isinstance(shutter, FocalPlane) else 0.05
    taus = time_at(np.array([sensor.position for sensor in fitted]), curve)
    centre = float(time_at(0.5, curve))
    if len(fitted) == 2 and abs(taus[1] - taus[0]) > 0.2:
        share = (centre - taus[0]) / (taus[1] - taus[0])
        apart = mids[1] - mids[0]
        travel_s = float(np.nanmedian(apart) / (taus[1] - taus[0]))
        return mids[0] + share * apart, np.nanmean(exposures, axis=0), travel_s, tuple(parts)
    nearest = int(np.argmin(np.abs(taus - centre)))
    moved = centre - float(taus[nearest])
    if moved:
        bent = float(time_at(fitted[nearest].position, min(curve + curve_u, 0.6)))
        u_s = whole_s * abs(
            (centre - taus[nearest]) - (float(time_at(0.5, min(curve + curve_u, 0.6))) - bent)
        )
        parts.append(Part("gate sensor off centre", u_s, "normal", "put the sensor at the frame's centre"))
    return mids[nearest] + moved * whole_s, exposures[nearest], np.nan, tuple(parts)


def _from_sync(
    shots: Shots, body: Body, letter: str, index: int, learned: Learned | None
) -> tuple[Floats, tuple[Part, ...], str | None]:
    """Mid-exposure at frame centre and type B parts from the sync contact, or why it cannot be told."""
    sensor = body.sensors.sync
    closed = shots.sync_s[:, index] - sensor.delay_s
    nothing = np.full(len(closed), np.nan)
    if body.sync == "none":
        return nothing, (), None
    refusal = _sync_refusal(body, letter)
    if refusal is not None:
        return nothing, (), refusal
    delay = Part(
        "sync input delay",
        sensor.delay_uncertainty_s / ROOT3,
        "rectangular",
        "measure it: 'coincide box check --zero'",
    )
    sync_to_open_s, contact_parts = _contact(body, learned)
    exposure_s, exposure_part = _exposure(body, learned)
    return closed + sync_to_open_s + exposure_s / 2, (delay, *contact_parts, exposure_part), None


def sync_to_mid_s(body: Body, letter: str, learned: Learned | None) -> float | None:
    """What to add to the edge of the sync input for mid-exposure at frame centre; None where sync cannot
    tell."""
    if body.sync == "none" or _sync_refusal(body, letter) is not None:
        return None
    return _contact(body, learned)[0] + _exposure(body, learned)[0] / 2 - body.sensors.sync.delay_s


def _contact(body: Body, learned: Learned | None) -> tuple[float, tuple[Part, ...]]:
    """From sync closing to half-peak open at frame centre, as learned, else by the model."""
    shutter = body.shutter
    if learned is not None and learned.sync_to_open_s is not None and learned.sync_to_open_u_s is not None:
        part = Part(
            "sync to open, as learned", learned.sync_to_open_u_s, "normal", "learn it from more shots"
        )
        return learned.sync_to_open_s, (part,)
    remedy = "fire one series with a gate sensor: it learns the contact"
    placement = Part("sync contact's placement", shutter.sync_uncertainty_s / ROOT3, "rectangular", remedy)
    if isinstance(shutter, FocalPlane):
        u_s = shutter.curve_uncertainty * shutter.travel_s
        return -_sync_after_open_s(body), (placement, Part("curtain speed curve", u_s, "normal", remedy))
    return -_sync_after_open_s(body), (placement,)


def _exposure(body: Body, learned: Learned | None) -> tuple[float, Part]:
    """Exposure as learned at this marked speed, else as marked; the part it gives to mid-exposure is half."""
    if learned is not None and learned.exposure_s is not None and learned.exposure_u_s is not None:
        part = Part("exposure, as learned", learned.exposure_u_s / 2, "normal", "learn it from more shots")
        return learned.exposure_s, part
    marked_s = body.shutter.exposure.nominal_s
    half_width_s = marked_s * (2**EXPOSURE_STOPS - 1)
    remedy = "fire one series with a gate sensor: it measures the exposure"
    return marked_s, Part("true exposure against the mark", half_width_s / 2 / ROOT3, "rectangular", remedy)


def _sync_after_open_s(body: Body) -> float:
    """By how much the contact follows half-peak open at frame centre, by the model."""
    shutter = body.shutter
    if isinstance(shutter, FocalPlane):
        return shutter.curve * shutter.travel_s
    if isinstance(shutter, Leaf):
        return shutter.opening_s / 2
    if isinstance(shutter, ElectronicFirstCurtain):
        return 0.5 * shutter.travel_s
    return 0.5 * shutter.readout_s


def _sync_refusal(body: Body, letter: str) -> str | None:
    """Why the sync contact of this body cannot tell its exposure, or None."""
    shutter = body.shutter
    exposure_s = shutter.exposure.nominal_s
    who = f"body {letter} ({body.name})"
    if (
        isinstance(shutter, FocalPlane)
        and shutter.sync_speed
        and exposure_s < shutter.sync_speed.nominal_s * 0.99
    ):
        return (
            f"X suppressed at this speed: {who} is set to {shutter.exposure}, faster than its sync speed "
            f"{shutter.sync_speed}; use a gate sensor, or calibrate at {shutter.sync_speed} or slower."
        )
    if isinstance(shutter, Leaf) and exposure_s < (shutter.opening_s + shutter.closing_s) / 2:
        return (
            f"Not measurable by sync, because the blades of {who} never open fully at {shutter.exposure}; "
            "use a gate sensor or a slower speed."
        )
    return None


def _learn_body(shots: Shots, body: Body, index: int) -> Learned | None:
    gate_mid, exposure, _, parts = _from_gates(shots, body, index)
    closed = shots.sync_s[:, index] - body.sensors.sync.delay_s
    gap = gate_mid - exposure / 2 - closed
    both = np.isfinite(gap)
    shots_seen = int(both.sum())
    if shots_seen < LEAST_COMMON:
        return None
    type_b = float(np.sqrt(sum(part.u_s**2 for part in parts)))
    spread = float(np.std(gap[both], ddof=1)) / np.sqrt(shots_seen)
    spread_exposure = float(np.std(exposure[both], ddof=1)) / np.sqrt(shots_seen)
    return Learned(
        body=index,
        exposure=str(body.shutter.exposure),
        sync_to_open_s=float(np.mean(gap[both])),
        sync_to_open_u_s=float(np.hypot(spread, type_b)),
        exposure_s=float(np.mean(exposure[both])),
        exposure_u_s=float(np.hypot(spread_exposure, type_b)),
    )
