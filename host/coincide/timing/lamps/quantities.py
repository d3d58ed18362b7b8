"""Mean skew, lag and exposure over the frames of a row, each with what is uncertain of it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coincide.rig.model import Rig
from coincide.session.model import BODIES
from coincide.timing.budget.known import Known
from coincide.timing.budget.part import Part, rectangular
from coincide.timing.budget.quantities import CLOCK_PPM, Reported, type_b_components
from coincide.timing.budget.uncertainty import Budget, Component, budget, rectangular_u
from coincide.timing.lamps.rounds import LampPair
from coincide.timing.shutter.circuits import release_parts
from coincide.timing.shutter.traits import shutter_model

Floats = npt.NDArray[np.float64]

FAINT = 0.25  # of a step: how much of an end lamp's light may be missing before nobody finds it
START_S = 0.0002  # half-width: how well the box knows when the row began
REMEDY_STEP = "a faster row, or more frames"
REMEDY_PLACE = "lay the row through the frame's centre, along the curtain's edge"
REMEDY_FAINT = "look for the faintest lamps with a loupe, or lengthen the scan's shadows"


def spread(values: Floats, least_s: float) -> float:
    """Standard deviation, not less than the steps alone give."""
    return max(float(np.std(values, ddof=1)) if values.size > 1 else 0.0, least_s)


def _scatter(values: Floats, least_s: float) -> Component:
    n = values.size
    u = spread(values, least_s) / float(np.sqrt(n))
    if n == 1:
        return Component("lamp step", u, distribution="triangular", kind="B", remedy=REMEDY_STEP)
    name = f"scatter of {n} frames, lamp steps included"
    return Component(name, u, n - 1.0, "student", "A", REMEDY_STEP)


def _column(pairs: list[LampPair], which: str, index: int | None = None) -> tuple[Floats, list[LampPair]]:
    """Values of the pairs that have one, and those pairs."""
    values = [getattr(pair, which) if index is None else getattr(pair, which)[index] for pair in pairs]
    kept = [(value, pair) for value, pair in zip(values, pairs, strict=True) if np.isfinite(value)]
    return np.array([value for value, _ in kept]), [pair for _, pair in kept]


def _misread(pairs: list[LampPair], index: int, edges: float) -> Part:
    """Lamps somebody was in doubt about, frame by frame. `edges`: how the two ends enter, 1/2 each or 1 each."""
    squares = [(rectangular_u(pair.doubtful[index] * pair.step_s) * edges) ** 2 * 2.0 for pair in pairs]
    u = float(np.sqrt(np.sum(squares))) / max(len(pairs), 1)
    return Part(f"doubtful lamps, {BODIES[index]}", u, "normal", "look again")


def _place_s(rig: Rig, index: int, off_line_m: float) -> float:
    """How far the curtain may be from the frame's centre line where the row is, either way, in time."""
    model = shutter_model(rig.both[index])
    share = min(off_line_m / model.length_m, 0.5)
    return 0.5 * (model.time_at(0.5 + share) - model.time_at(0.5 - share)) if model.sweep_s else 0.0


def _mid_parts(rig: Rig, index: int, pairs: list[LampPair], off_line_m: float) -> tuple[Part, ...]:
    letter, step_s = BODIES[index], pairs[0].step_s
    return (
        rectangular(
            f"place of the row in the frame, {letter}", _place_s(rig, index, off_line_m), REMEDY_PLACE
        ),
        rectangular(f"faint end lamps, {letter}", 0.5 * FAINT * step_s, REMEDY_FAINT),
        _misread(pairs, index, 0.5),
    )


def _sum(scatter: Component, parts: tuple[Part, ...], value_s: float) -> Budget:
    clock = Component(
        "the box's clock", rectangular_u(CLOCK_PPM * 1e-6 * abs(value_s)), distribution="rectangular"
    )
    kept = tuple(part for part in parts if part.u_s > 0)
    return budget((scatter, *type_b_components(kept), clock))


def skew_of(pairs: list[LampPair], rig: Rig, off_line_m: float) -> Reported:
    """Mean skew of the pairs, positive when B is late."""
    values, used = _column(pairs, "skew_s")
    if not used:
        return Reported("skew", None, np.nan, None, "No pair has been read in both bodies' frames.")
    mean = float(np.mean(values))
    parts = tuple(part for index in (0, 1) for part in _mid_parts(rig, index, used, off_line_m))
    # Each middle is uniform over a step's triangle: step squared / 24, twice.
    return Reported("skew", None, mean, _sum(_scatter(values, used[0].step_s / np.sqrt(12.0)), parts, mean))


def lag_of(pairs: list[LampPair], index: int, rig: Rig, known: Known, off_line_m: float) -> Reported:
    """Mean lag of a body (0 = A, 1 = B)."""
    letter = BODIES[index]
    values, used = _column(pairs, "lag_s", index)
    if not used:
        return Reported("lag", letter, np.nan, None, "No frame has been read.")
    mean = float(np.mean(values))
    start = rectangular("start of the row", START_S, "none: the box tells it no better")
    parts = (*_mid_parts(rig, index, used, off_line_m), start, *release_parts(known, index))
    return Reported("lag", letter, mean, _sum(_scatter(values, used[0].step_s / np.sqrt(24.0)), parts, mean))


def exposure_of(pairs: list[LampPair], index: int, rig: Rig, off_line_m: float) -> Reported:
    """Mean exposure of a body (0 = A, 1 = B)."""
    letter = BODIES[index]
    values, used = _column(pairs, "exposure_s", index)
    if not used:
        return Reported("exposure", letter, np.nan, None, "No frame has been read.")
    # One lamp alone: opening and closing fell into one step, a third of it apart on average.
    step_s, mean = used[0].step_s, float(np.mean(values))
    mean = mean if mean > 0 else step_s / 3.0
    tilt_s = 2.0 * _place_s(rig, index, off_line_m) * min(mean / used[0].round_s, 1.0)
    parts = (
        rectangular(f"tilt of the row in the frame, {letter}", tilt_s, REMEDY_PLACE),
        rectangular(f"faint end lamps, {letter}", 2.0 * FAINT * step_s, REMEDY_FAINT),
        _misread(used, index, 1.0),
    )
    # Two ends uniform over a step each: step squared / 6.
    return Reported("exposure", letter, mean, _sum(_scatter(values, step_s / np.sqrt(6.0)), parts, mean))
