"""The uncertainty budget of each quantity that is reported: skew, lag, exposure, travel.

    reported            everything a session's report states, each with its budget or the reason why there is none
    ..._budget          one of them from arrays

Type A from the shots; type B from the shutter's model, the sensors, the inputs' and releases' circuits, the tick, the
clock and the lamp.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.rig.parts import GateSensor
from coincide.session.model import BODIES
from coincide.timing.analysis import Analysis, Measured
from coincide.timing.budget.part import Part
from coincide.timing.budget.recorded import CLOCK_PPM as RECORDER_PPM
from coincide.timing.budget.uncertainty import (
    Budget,
    Component,
    Distribution,
    budget,
    mean_component,
    rectangular_u,
)
from coincide.timing.offset.suggest import OffsetSuggestion
from coincide.timing.shutter.circuits import release_parts
from coincide.timing.shutter.mid_exposure import BodyMid, MidExposures
from coincide.timing.shutter.traits import shutter_model

Floats = npt.NDArray[np.float64]
What = Literal["skew", "lag", "exposure", "travel"]

TICK_S = 8e-9
CLOCK_PPM = 50.0  # a plain crystal over temperature and years; memory of data sheets
ONE_VALUE = "One value alone shows no scatter: fire more pairs."


@dataclass(frozen=True, slots=True)
class Reported:
    """One quantity: body 'A', 'B' or None for the pair. Where there is no budget, or no value (NaN), `why_not` says
    why."""

    what: What
    body: str | None
    value_s: float
    budget: Budget | None
    why_not: str | None = None

    @property
    def combined_s(self) -> float:
        """Standard uncertainty; infinite without a budget."""
        return np.inf if self.budget is None else self.budget.combined_s


def reported(analysis: Analysis) -> tuple[Reported, ...]:
    """Skew at the end of the series without any offset, then of each body the mean lag, exposure and, of curtains, the
    travel."""
    measured = analysis.measured
    return (
        _skew(analysis),
        *(_lag(measured, index) for index in (0, 1)),
        *(_exposure(measured, index) for index in (0, 1)),
        *(
            _travel(measured, index)
            for index in (0, 1)
            if shutter_model(measured.rig.both[index]).kind == "curtains"
        ),
    )


def skew_budget(analysis: Analysis) -> Budget | None:
    """Of the series' centre; None without a suggestion."""
    return _skew(analysis).budget


def _skew(analysis: Analysis) -> Reported:
    suggestion, measured = analysis.suggestion, analysis.measured
    if suggestion is None:
        return Reported("skew", None, np.nan, None, analysis.why_none)
    parts = (
        _type_a(suggestion),
        *type_b_components(named_parts(measured.mids)),
        Component(
            "one tick at either edge", rectangular_u(measured.resolution_s), distribution="rectangular"
        ),
        _clock(abs(suggestion.best_s), clock_ppm_of(measured)),
    )
    return Reported("skew", None, suggestion.best_s, budget(parts))


def clock_ppm_of(measured: Measured) -> float:
    """Of whatever timed the edges: the box's crystal, or a recorder's."""
    return CLOCK_PPM if measured.known.recording is None else RECORDER_PPM


def _type_a(suggestion: OffsetSuggestion) -> Component:
    name, dof = f"scatter of {suggestion.shots_used} pairs", float(max(suggestion.shots_used - 1, 1))
    return Component(name, suggestion.type_a_s, dof, "student", "A", "fire more pairs")


def _lag(measured: Measured, index: int) -> Reported:
    letter, body, lag_s = BODIES[index], measured.mids.bodies[index], measured.lag_s[:, index]
    seen = lag_s[np.isfinite(lag_s)]
    if not seen.size:
        why = body.refusal or "There was no full-press of the box to count from, or no answer to it."
        return Reported("lag", letter, np.nan, None, why)
    if seen.size < 2:
        return Reported("lag", letter, float(seen[0]), None, ONE_VALUE)
    found = lag_budget(body, lag_s, release=release_parts(measured.known, index))
    return Reported("lag", letter, float(np.mean(seen)), found)


def _exposure(measured: Measured, index: int) -> Reported:
    letter, body = BODIES[index], measured.mids.bodies[index]
    seen = body.exposure_s[np.isfinite(body.exposure_s)]
    if not seen.size:
        return Reported("exposure", letter, np.nan, None, "No gate sensor saw it.")
    if seen.size < 2:
        return Reported("exposure", letter, float(seen[0]), None, ONE_VALUE)
    return Reported("exposure", letter, float(np.mean(seen)), exposure_budget(body))


def _travel(measured: Measured, index: int) -> Reported:
    letter, body = BODIES[index], measured.mids.bodies[index]
    if not np.isfinite(body.travel_s):
        return Reported(
            "travel", letter, np.nan, None, _why_no_travel(measured.rig.both[index].sensors.gates)
        )
    return Reported("travel", letter, body.travel_s, travel_budget(body))


def _why_no_travel(gates: tuple[GateSensor | None, GateSensor | None]) -> str:
    if any(gate is None for gate in gates):
        return "It takes two gate sensors, apart along the sweep."
    return "The two gate sensors did not both see it, or stand too near each other along the sweep."


def mean_skew_budget(mids: MidExposures, skew_s: Floats, *, clock_ppm: float = CLOCK_PPM) -> Budget:
    """Mean skew of a series (n,), NaN left out: type A of the mean, both bodies' parts, tick and clock."""
    return _of_mean(skew_s, named_parts(mids), clock_ppm)


def lag_budget(
    body: BodyMid, lag_s: Floats, *, release: tuple[Part, ...] = (), clock_ppm: float = CLOCK_PPM
) -> Budget:
    """Mean release lag of one body, (n,). `release`: parts of the way to the isolator's output."""
    return _of_mean(lag_s, (*body.parts, *release), clock_ppm)


def exposure_budget(body: BodyMid, *, clock_ppm: float = CLOCK_PPM) -> Budget:
    """Mean exposure of one body as the gate sensors saw it."""
    return _of_mean(body.exposure_s, body.exposure_parts, clock_ppm)


def travel_budget(body: BodyMid) -> Budget:
    """Curtain travel of one body as two gate sensors told it; empty where they did not."""
    return budget(type_b_components(body.travel_parts))


def named_parts(mids: MidExposures) -> tuple[Part, ...]:
    """The parts of both bodies, each with its body's letter."""
    return tuple(
        replace(part, name=f"{letter}: {part.name}")
        for letter, body in zip(BODIES, mids.bodies, strict=True)
        for part in body.parts
    )


def type_b_components(parts: tuple[Part, ...]) -> tuple[Component, ...]:
    """Parts of a mid-exposure as components of a budget."""
    return tuple(
        Component(part.name, part.u_s, np.inf, _distribution(part), "B", part.remedy) for part in parts
    )


def _of_mean(values: Floats, parts: tuple[Part, ...], clock_ppm: float) -> Budget:
    seen = values[np.isfinite(values)]
    if seen.size == 0:
        return budget(())
    size = abs(float(np.mean(seen)))
    # Both ends of an interval are rounded to the tick, anew in each shot.
    tick = rectangular_u(0.5 * TICK_S) * float(np.sqrt(2.0 / seen.size))
    return budget(
        (
            mean_component("scatter of the shots", seen),
            *type_b_components(parts),
            Component("tick", tick, distribution="triangular"),
            _clock(size, clock_ppm),
        )
    )


def _clock(size_s: float, clock_ppm: float) -> Component:
    name = "the box's clock" if clock_ppm == CLOCK_PPM else "the recorder's clock"
    return Component(name, rectangular_u(clock_ppm * 1e-6 * size_s), distribution="rectangular")


def _distribution(part: Part) -> Distribution:
    return "rectangular" if part.distribution == "rectangular" else "normal"
