"""What a recording adds to the uncertainty of mid-exposures and exposures read out of it; the parts come with the
session."""

from __future__ import annotations

from dataclasses import replace

from coincide.session.model import BODIES
from coincide.timing.budget.known import Known, RecordedPart
from coincide.timing.budget.part import Part
from coincide.timing.shutter.mid_exposure import BodyMid, MidExposures

CLOCK_PPM = 100.0  # of a sound card's or an instrument's crystal; memory of data sheets


def with_recording(mids: MidExposures, known: Known) -> MidExposures:
    """The same with the recording's own parts; unchanged where a box measured."""
    if known.recording is None:
        return mids
    bodies = []
    for letter, body in zip(BODIES, mids.bodies, strict=True):
        mid = _parts(known.recording.parts.get(letter, ()))
        exposure = _parts(known.recording.exposure_parts.get(letter, ()))
        bodies.append(_with(body, mid, exposure))
    return MidExposures((bodies[0], bodies[1]))


def _with(body: BodyMid, mid: tuple[Part, ...], exposure: tuple[Part, ...]) -> BodyMid:
    return replace(
        body,
        parts=(*body.parts, *mid) if body.how != "none" else body.parts,
        exposure_parts=(*body.exposure_parts, *exposure) if body.how == "gate" else body.exposure_parts,
    )


def _parts(recorded: tuple[RecordedPart, ...]) -> tuple[Part, ...]:
    return tuple(Part(one.name, one.u_s, one.distribution, one.remedy) for one in recorded if one.u_s > 1e-8)
