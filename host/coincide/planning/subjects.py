"""Things that move in front of a camera, to lay beside a limit. All rough: ranges of experience, no source."""

from __future__ import annotations

from dataclasses import dataclass

from coincide.rig.model import Rig


@dataclass(frozen=True, slots=True)
class Everyday:
    """A subject and the range of its usual speed, m/s. Rough."""

    name: str
    slow_m_s: float
    fast_m_s: float


EVERYDAY = (
    Everyday("grass and reeds in a light wind", 0.05, 0.5),
    Everyday("leaves in wind", 0.2, 2.0),
    Everyday("walker", 1.0, 1.8),
    Everyday("small waves", 1.0, 3.0),
    Everyday("runner", 2.5, 5.0),
    Everyday("cyclist", 3.0, 8.0),
    Everyday("street traffic", 8.0, 14.0),
    Everyday("birds in flight", 8.0, 20.0),
    Everyday("road traffic", 20.0, 35.0),
)

# How fast a rig turns while it is held, rad/s. Rough: from one to three degrees a second by hand.
HELD_RATES_RAD_S = {"held": 0.035, "braced": 0.009, "on a tripod in wind": 0.001}


def subject_source(rig: Rig, name: str, value: float) -> str:
    """Where a subject's speed or distance (`name`) comes from: the rig's design subject, or given by hand."""
    own = rig.tolerance.subject
    if own is not None and getattr(own, {"speed": "speed_m_s", "distance": "distance_m"}[name]) == value:
        return f"rig: tolerance.subject.{name}"
    return "given"
