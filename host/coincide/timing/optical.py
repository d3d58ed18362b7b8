"""The optical route: both bodies photograph a row of lamps, one lit after another at a known step.

Lamp i (from 0) is lit from i to i + 1 steps after the row starts, over and over. A frame exposed from o to
c shows lamp first = floor(o / step) to last = floor(c / step), so the first lamp seen puts the opening into
one step, the last one the closing: each is uniform over its step, standard uncertainty step / sqrt 12 (GUM
4.3.7). Lamps at the ends look fainter, as they were lit for a part of their step only; taken for unlit they
are a miscount, `misread_lamps` in the uncertainty. A lamp's image has its own place in the frame: with a
focal plane shutter the row should run along the curtain's edge, so that all lamps share one sweep position,
`tilt_s` being what is left of the sweep between its ends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.errors import BadInput
from coincide.timing.uncertainty import Budget, Component, Distribution, budget, rectangular_u


@dataclass(frozen=True, slots=True)
class LampRow:
    """The row as it ran: `lamps` of them, `step_s` each, round after round (`lamps * step_s` a round)."""

    lamps: int
    step_s: float
    clock_ppm: float = 50.0

    @property
    def round_s(self) -> float:
        return self.lamps * self.step_s


@dataclass(frozen=True, slots=True)
class LampReading:
    """What one frame shows: first and last lamp lit, counted from 1 as people do, and how many whole rounds
    lie between (0 unless the exposure is longer than a round). doubtful: lamps that might be miscounted at
    each end."""

    first: int
    last: int
    rounds: int = 0
    doubtful: float = 0.0


@dataclass(frozen=True, slots=True)
class OpticalFrame:
    """One body's frame: mid-exposure after the start of the round, and exposure; seconds, with their
    budgets."""

    mid_s: float
    mid: Budget
    exposure_s: float
    exposure: Budget


@dataclass(frozen=True, slots=True)
class OpticalPair:
    """Both frames of a pair. skew_s: B minus A, taken the short way round the row."""

    a: OpticalFrame
    b: OpticalFrame
    skew_s: float
    skew: Budget


def read_frame(row: LampRow, reading: LampReading, body: str, *, tilt_s: float = 0.0) -> OpticalFrame:
    """Mid-exposure and exposure of one frame. `body` is for the sentences. Raises BadInput for an
    impossible count."""
    opened, closed = frame_edges_s(row, reading, body)
    step = row.step_s
    # Opening and closing uniform over a step each; within one and the same step they are ordered as well.
    edge_u = rectangular_u(0.5 * step)
    single = opened == closed
    exposure_s = step / 3.0 if single else closed - opened
    exposure_u = step * float(np.sqrt(1.0 / 18.0)) if single else float(np.hypot(edge_u, edge_u))
    mid_u = step * float(np.sqrt(1.0 / 24.0))
    clock = row.clock_ppm * 1e-6
    misread = rectangular_u(reading.doubtful * step)
    shape: Distribution = "triangular"
    mid_parts = (
        Component("lamp step", mid_u, distribution=shape, remedy="run the row faster"),
        Component(
            "miscounted lamps", misread / np.sqrt(2.0), distribution="rectangular", remedy="look again"
        ),
        Component("sweep along the row", rectangular_u(0.5 * tilt_s), distribution="rectangular"),
        Component("row's clock", rectangular_u(clock * 0.5 * (opened + closed)), distribution="rectangular"),
    )
    exposure_parts = (
        Component("lamp step", exposure_u, distribution=shape, remedy="run the row faster"),
        Component(
            "miscounted lamps", misread * np.sqrt(2.0), distribution="rectangular", remedy="look again"
        ),
        Component("sweep along the row", rectangular_u(tilt_s), distribution="rectangular"),
        Component("row's clock", rectangular_u(clock * exposure_s), distribution="rectangular"),
    )
    return OpticalFrame(0.5 * (opened + closed), budget(mid_parts), exposure_s, budget(exposure_parts))


def frame_edges_s(row: LampRow, reading: LampReading, body: str) -> tuple[float, float]:
    """Middles of the steps in which the frame opened and closed, seconds after the row's start."""
    _check(row, reading, body)
    opened_lamp = reading.first - 1
    closed_lamp = reading.last - 1 + row.lamps * reading.rounds
    if closed_lamp < opened_lamp:
        closed_lamp += row.lamps
    return (opened_lamp + 0.5) * row.step_s, (closed_lamp + 0.5) * row.step_s


def read_pair(row: LampRow, a: LampReading, b: LampReading, *, tilt_s: float = 0.0) -> OpticalPair:
    """Both frames of one pair, photographed in the same run of the row.

    A skew beyond half a round looks like one the other way: the row must be longer than twice the skew.
    """
    frame_a = read_frame(row, a, "A", tilt_s=tilt_s)
    frame_b = read_frame(row, b, "B", tilt_s=tilt_s)
    half = 0.5 * row.round_s
    skew = (frame_b.mid_s - frame_a.mid_s + half) % row.round_s - half
    parts = tuple(
        Component(f"{part.name}, {letter}", part.u_s, part.dof, part.distribution, part.kind, part.remedy)
        for letter, frame in (("A", frame_a), ("B", frame_b))
        for part in frame.mid.components
        if part.name != "row's clock"
    )
    clock = Component(
        "row's clock", rectangular_u(row.clock_ppm * 1e-6 * abs(skew)), distribution="rectangular"
    )
    return OpticalPair(frame_a, frame_b, float(skew), budget((*parts, clock)))


def _check(row: LampRow, reading: LampReading, body: str) -> None:
    for name, lamp in (("first", reading.first), ("last", reading.last)):
        if not 1 <= lamp <= row.lamps:
            raise BadInput(
                f"The {name} lamp of body {body}'s frame is {lamp}, but the row has lamps 1 to {row.lamps}: "
                "count again from the end that lights first."
            )
    if reading.rounds < 0 or reading.doubtful < 0:
        raise BadInput(f"Rounds and doubtful lamps of body {body}'s frame cannot be less than none.")
