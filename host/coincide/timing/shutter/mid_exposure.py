"""Mid-exposure of each body in each shot, from whichever sensors there are.

    gate.py    gate sensors: mid = (o + c)/2 at half-peak, moved to frame centre along the sweep
    sync.py    sync contact: the edge, from there to half-peak open, plus half the exposure
    shutter.py what both need of the rig

Both in one series: where a shot lacks a gate edge, its sync edge is used with the difference between the two that
the rest of the series showed, so that no shot jumps because it was seen another way. Where no light came at all to a
gate that saw it in other shots, the frame is black, and no time is told.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from coincide.rig.calibration import Learned
from coincide.rig.model import Body, Rig
from coincide.session.model import BODIES, Floats, Shots
from coincide.timing.budget.part import Part, together_s
from coincide.timing.shutter.gate import GateView, look_at_gate
from coincide.timing.shutter.sync import look_at_sync, looks_like_m
from coincide.timing.shutter.traits import shutter_model

Flags = npt.NDArray[np.bool_]

LEAST_COMMON = 3  # shots seen both ways before the one may stand in for the other


@dataclass(frozen=True, slots=True)
class BodyMid:
    """Mid-exposure of one body. Seconds from each shot's start; NaN where it cannot be told.

    mid_s (n,) at frame centre; exposure_s (n,) measured at a gate, else NaN. how: 'gate', 'sync', 'sound' or 'none'.
    parts, exposure_parts: what is uncertain in common to all shots. refusal: why nothing can be measured, or
    None. travel_s, travel_parts: told by two gate sensors, else NaN and none. complaints: sentences to mind.
    black (n,): the contact closed and no light came to a gate that saw it in other shots; no time is told for those.
    """

    mid_s: Floats
    exposure_s: Floats
    how: str
    parts: tuple[Part, ...]
    refusal: str | None
    travel_s: float
    travel_parts: tuple[Part, ...] = ()
    exposure_parts: tuple[Part, ...] = ()
    complaints: tuple[str, ...] = ()
    black: Flags = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))

    @property
    def type_b_s(self) -> float:
        """Standard uncertainty of every mid-exposure in common."""
        return together_s(self.parts)

    @property
    def travel_u_s(self) -> float:
        """Standard uncertainty of the travel; NaN where there is none."""
        return together_s(self.travel_parts) if self.travel_parts else np.nan


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
    def black(self) -> Flags:
        """Frames that got no light, (n, 2)."""
        rows = self.bodies[0].mid_s.size
        return np.stack(
            [body.black if body.black.size else np.zeros(rows, dtype=np.bool_) for body in self.bodies],
            axis=1,
        )

    @property
    def refusals(self) -> tuple[str, ...]:
        return tuple(body.refusal for body in self.bodies if body.refusal is not None)


def mid_exposures(
    shots: Shots, rig: Rig, learned: tuple[Learned | None, Learned | None] = (None, None)
) -> MidExposures:
    """Mid-exposures of a series, n rows. `learned` stands in for marked values where only sync was seen."""
    if np.isfinite(shots.click_s).any():
        return MidExposures((_heard(shots, rig.both[0], 0), _heard(shots, rig.both[1], 1)))
    first, second = (_body(shots, rig.both[i], BODIES[i], i, learned[i]) for i in (0, 1))
    return MidExposures((first, second))


def _heard(shots: Shots, body: Body, index: int) -> BodyMid:
    """Of a recording of sound: the middle between the curtains' clicks stands for mid-exposure, which comes some
    milliseconds later in both bodies alike; exposure and travel are not told by it."""
    mid_s = shots.click_s[:, index]
    refusal = None if np.isfinite(mid_s).any() else _unseen(body, BODIES[index])
    how = "none" if refusal else "sound"
    return BodyMid(mid_s, np.full(len(mid_s), np.nan), how, (), refusal, np.nan)


def learn(shots: Shots, rig: Rig) -> tuple[Learned | None, Learned | None]:
    """What a series with both sensors teaches: None for a body with too few shots seen both ways."""
    first, second = (_learn_body(shots, rig.both[i], i) for i in (0, 1))
    return (first, second)


def _gate(shots: Shots, body: Body, index: int) -> GateView:
    return look_at_gate(
        shots.gate_open_s[:, index],
        shots.gate_close_s[:, index],
        body.sensors.gates,
        shutter_model(body),
        f"body {BODIES[index]} ({body.name})",
    )


def _body(shots: Shots, body: Body, letter: str, index: int, learned: Learned | None) -> BodyMid:
    gate = _gate(shots, body, index)
    sync = look_at_sync(shots.sync_s[:, index], body, letter, learned)
    by_gate, by_sync = int(np.isfinite(gate.mid_s).sum()), int(np.isfinite(sync.mid_s).sum())
    if by_gate == 0 and by_sync == 0:
        refusal = gate.refusal or sync.refusal or _unseen(body, letter)
        return BodyMid(gate.mid_s, gate.exposure_s, "none", (), refusal, np.nan)
    dark = np.isnan(shots.gate_open_s[:, index]).all(axis=1) & np.isnan(shots.gate_close_s[:, index]).all(
        axis=1
    )
    # Where the box lost edges, the light's may be among them.
    black = dark & np.isfinite(shots.sync_s[:, index]) & (shots.lost == 0) & (by_gate >= LEAST_COMMON)
    if by_gate < max(LEAST_COMMON, by_sync // 2):
        return BodyMid(
            np.where(black, np.nan, sync.mid_s),
            gate.exposure_s,
            "sync",
            sync.parts,
            None,
            gate.travel_s,
            gate.travel_parts,
            gate.exposure_parts,
            (*gate.complaints, *sync.complaints),
            black,
        )
    mid, complaints = gate.mid_s, gate.complaints
    both = np.isfinite(mid) & np.isfinite(shots.sync_s[:, index])
    if both.sum() >= LEAST_COMMON:
        gap = mid - 0.5 * gate.exposure_s - shots.sync_s[:, index]
        warning = looks_like_m(
            float(np.median(gap[both])), shutter_model(body), f"body {letter} ({body.name})"
        )
        complaints = complaints if warning is None else (*complaints, warning)
        steady = shots.sync_s[:, index] + np.median((mid - shots.sync_s[:, index])[both])
        mid = np.where(np.isfinite(mid) | black, mid, steady)
    return BodyMid(
        mid,
        gate.exposure_s,
        "gate",
        gate.mid_parts,
        None,
        gate.travel_s,
        gate.travel_parts,
        gate.exposure_parts,
        complaints,
        black,
    )


def _unseen(body: Body, letter: str) -> str:
    return (
        f"Nothing was seen of body {letter} ({body.name}): check its sync lead and gate sensor with "
        "'coincide box check', and that it is wound and loaded."
    )


def _learn_body(shots: Shots, body: Body, index: int) -> Learned | None:
    """Sync-to-open and exposure are means over the shots seen both ways; travel where two sensors tell it."""
    gate = _gate(shots, body, index)
    closed = shots.sync_s[:, index] - body.sensors.sync.delay_s
    gap = gate.mid_s - 0.5 * gate.exposure_s - closed
    both = np.isfinite(gap)
    shots_seen = int(both.sum())
    if shots_seen < LEAST_COMMON:
        return None
    exposure = gate.exposure_s[both]
    gap_noise, exposure_noise = (
        float(np.std(each, ddof=1)) / np.sqrt(shots_seen) for each in (gap[both], exposure)
    )
    exposure_u = together_s(gate.exposure_parts)
    opening_u = float(np.hypot(together_s(gate.mid_parts), 0.5 * exposure_u))
    known = np.isfinite(gate.travel_s)
    return Learned(
        body=index,
        exposure=str(body.shutter.exposure),
        sync_to_open_s=float(np.mean(gap[both])),
        sync_to_open_u_s=float(np.hypot(gap_noise, opening_u)),
        exposure_s=float(np.mean(exposure)),
        exposure_u_s=float(np.hypot(exposure_noise, exposure_u)),
        travel_s=gate.travel_s if known else None,
        travel_u_s=together_s(gate.travel_parts) if known else None,
    )
