"""The frames that the invented bodies took of the lamp row: what is on them once they are developed."""

from __future__ import annotations

from dataclasses import dataclass

from coincide.box.simulated.truth import ShotTruth
from coincide.box.simulated.world import SIDES, World


@dataclass(frozen=True, slots=True)
class Photograph:
    """One frame: the body (0 = A), and the first and last lamp on it, counted from 1; None where none is found or
    all are lit."""

    body: int
    lamps: tuple[int, int] | None


def photographs(world: World, truth: ShotTruth) -> tuple[Photograph, Photograph]:
    """Both frames of one pair. The row that was begun last shows."""
    first, second = (Photograph(side, _on_film(world, truth, side)) for side in SIDES)
    return first, second


def _on_film(world: World, truth: ShotTruth, side: int) -> tuple[int, int] | None:
    if not truth.fired[side]:
        return None
    middle_s = truth.reference_s + truth.mid_s[side]
    half_s = truth.exposure_s[side] / 2
    for run in reversed(world.lamp_runs):
        if run.start_s <= middle_s - half_s:
            seen = run.on_film(middle_s - half_s, middle_s + half_s)
            return None if seen is None else (seen[0] + 1, seen[1] + 1)
    return None
