"""The uncertainty budget of each quantity that is reported: lag, skew, exposure, travel."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from coincide.session.model import BODIES
from coincide.timing.mid_exposure import BodyMid, MidExposures
from coincide.timing.part import Part
from coincide.timing.uncertainty import Budget, Component, Distribution, budget, mean_component, rectangular_u

Floats = npt.NDArray[np.float64]

TICK_S = 8e-9
CLOCK_PPM = 50.0  # a plain crystal over temperature and years; memory of data sheets


def mean_skew_budget(mids: MidExposures, skew_s: Floats, *, clock_ppm: float = CLOCK_PPM) -> Budget:
    """Mean skew of a series (n,), NaN left out: type A of the mean, both bodies' parts, tick and clock."""
    return _of_mean(skew_s, named_parts(mids), clock_ppm)


def lag_budget(body: BodyMid, lag_s: Floats, *, clock_ppm: float = CLOCK_PPM) -> Budget:
    """Mean release lag of one body, (n,)."""
    return _of_mean(lag_s, body.parts, clock_ppm)


def exposure_budget(body: BodyMid, *, clock_ppm: float = CLOCK_PPM) -> Budget:
    """Mean exposure of one body as the gate sensors saw it."""
    return _of_mean(body.exposure_s, body.exposure_parts, clock_ppm)


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
            Component("box's clock", rectangular_u(clock_ppm * 1e-6 * size), distribution="rectangular"),
        )
    )


def _distribution(part: Part) -> Distribution:
    return "rectangular" if part.distribution == "rectangular" else "normal"
