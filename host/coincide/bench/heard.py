"""What is asked of a recording, and what was found in it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from coincide.recording.find import Outline, Samples
from coincide.recording.parts import Uncertain

Source = Literal["light", "sound", "instrument"]


@dataclass(frozen=True, slots=True)
class Wish:
    """What the person asked for. channels: "left=A right=B", or of a capture "D0=gate_a1 ...". position, position_m:
    where the diodes sit along the sweep (0 to 1) and how well that is known; width_m: of the slit."""

    source: Source
    channels: str | None = None
    position: float = 0.5
    position_m: float = 0.001
    width_m: float = 0.001
    threshold_v: float | None = None


@dataclass(frozen=True, slots=True)
class Drawn:
    """One pair to draw: wave (n, 2) in the order A, B; its first sample's time; edges of A and B, seconds."""

    wave: Samples
    rate_hz: int
    from_s: float
    edges_s: tuple[tuple[float, ...], tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Account:
    """bangs heard; pairs made; alone: bangs of (A, B) alone; left_out: of anything else, with the reason each; named:
    how A was known, or None. pairs_s, alone_s: when. sentences: what to mind."""

    source: Source
    bangs: int
    pairs: int
    alone: tuple[int, int]
    left_out: tuple[tuple[float, str], ...]
    named: str | None
    pairs_s: tuple[float, ...]
    alone_s: tuple[float, ...]
    sentences: tuple[str, ...] = ()
    outline: Outline | None = None
    drawn: Drawn | None = None
    length_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Found:
    """Edges of each pair: (at, ticks of channel 0's ons and offs, ...) under the session's channel names."""

    pairs: list[tuple[float, list[tuple[int, int, int]]]]
    channels: tuple[str, ...]
    parts: dict[str, list[Uncertain]]
    exposure_parts: dict[str, list[Uncertain]]
    account: Account
    extra: dict[str, Any] = field(default_factory=dict)
