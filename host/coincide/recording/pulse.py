"""One exposure, as a recording of light shows it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Pulse:
    """One exposure in one channel; seconds from the start of the recording. u_s: standard uncertainty of (open, close).
    size: steps of (open, close); size_spread: how far their likeness is uncertain, as a part. ramp_s. unlike: how badly
    a step describes it. clipped: of (open, close)."""

    open_s: float
    close_s: float
    u_s: tuple[float, float]
    size: tuple[float, float]
    size_spread: float
    ramp_s: float
    unlike: float
    clipped: tuple[bool, bool]
