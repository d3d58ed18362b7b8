"""What really happened, kept by the world for tests to compare with what was measured."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from coincide.box.simulated.clock import s_from_ticks

NAN = math.nan
FIRED = "fired"


@dataclass(frozen=True, slots=True)
class ShotTruth:
    """One pair as it really was. Bodies in order A, B; NaN where a body did not fire.

    pair: counted from 1 in the order pairs were fired in this world.
    reference_tick: the earlier full-press edge at the pin in ticks of the box, equal to the tick of that edge
    in the session (of the first press of a twin cable, where the box fires nothing).
    reference_s: the same on the world's clock, which no reset of the box interrupts.
    fired, why: whether each body exposed; else why not, in a word or two.
    mid_s: mid-exposure at frame centre (half-peak midpoint), seconds after the reference.
    exposure_s: half-peak exposure at frame centre.
    lag_s: mid-exposure after the body's own full-press at the isolator's output.
    isolator_s: that isolator's delay in this pair.
    centroid_s: centre of gravity of the light at frame centre, seconds after the reference.
    near_s, far_s: mid-exposure at the edge of the frame the sweep reaches first and last.
    offset_s: what the box added: positive when A was held back.
    """

    pair: int
    reference_tick: int
    reference_s: float
    fired: tuple[bool, bool]
    why: tuple[str, str]
    mid_s: tuple[float, float]
    exposure_s: tuple[float, float]
    lag_s: tuple[float, float]
    isolator_s: tuple[float, float]
    centroid_s: tuple[float, float]
    near_s: tuple[float, float]
    far_s: tuple[float, float]
    offset_s: float

    @property
    def skew_s(self) -> float:
        """Mid-exposure B minus mid-exposure A at frame centre; NaN unless both fired."""
        return self.mid_s[1] - self.mid_s[0]

    @property
    def skew_without_offset_s(self) -> float:
        """The skew as it would have been with both releases closed at once."""
        return self.skew_s + self.offset_s


@dataclass(slots=True)
class BodyRecord:
    """What one body did in one pair, in ticks of the world's clock."""

    why: str = "not pressed"
    pin_tick: int | None = None
    press_tick: int | None = None
    open_tick: float = NAN
    close_tick: float = NAN
    centroid_tick: float = NAN
    near_tick: float = NAN
    far_tick: float = NAN


@dataclass(slots=True)
class PairRecord:
    """A pair in the making."""

    pair: int
    origin_tick: int
    quantum: int
    bodies: tuple[BodyRecord, BodyRecord] = field(default_factory=lambda: (BodyRecord(), BodyRecord()))

    def truth(self) -> ShotTruth | None:
        """The pair in seconds, or None when no release was closed at all."""
        pins = [body.pin_tick for body in self.bodies if body.pin_tick is not None]
        if not pins:
            return None
        # Differences of pin edges are what the box added; one that never left the box adds nothing.
        first = min(pins)
        reference = first - first % self.quantum
        body_a, body_b = self.bodies
        offset = 0.0
        if body_a.pin_tick is not None and body_b.pin_tick is not None:
            offset = s_from_ticks(body_a.pin_tick - body_b.pin_tick)

        def both(name: str) -> tuple[float, float]:
            return (
                (getattr(body_a, name) - reference) / _HZ,
                (getattr(body_b, name) - reference) / _HZ,
            )

        opened, closed = both("open_tick"), both("close_tick")
        mids = ((opened[0] + closed[0]) / 2, (opened[1] + closed[1]) / 2)
        presses = (_since(body_a.press_tick, reference), _since(body_b.press_tick, reference))
        edges = (_since(body_a.pin_tick, reference), _since(body_b.pin_tick, reference))
        return ShotTruth(
            pair=self.pair,
            reference_tick=reference - self.origin_tick,
            reference_s=s_from_ticks(reference),
            fired=(body_a.why == FIRED, body_b.why == FIRED),
            why=(body_a.why, body_b.why),
            mid_s=mids,
            exposure_s=(closed[0] - opened[0], closed[1] - opened[1]),
            lag_s=(mids[0] - presses[0], mids[1] - presses[1]),
            isolator_s=(presses[0] - edges[0], presses[1] - edges[1]),
            centroid_s=both("centroid_tick"),
            near_s=both("near_tick"),
            far_s=both("far_tick"),
            offset_s=offset,
        )


_HZ = 1 / s_from_ticks(1)


def _since(tick: int | None, reference: int) -> float:
    return NAN if tick is None else s_from_ticks(tick - reference)
