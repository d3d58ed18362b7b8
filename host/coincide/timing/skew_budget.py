"""The uncertainty budget of a series' centre: the shots, and everything that is uncertain in all of them
alike."""

from __future__ import annotations

from coincide.timing.analysis import Analysis
from coincide.timing.budgets import CLOCK_PPM, named_parts, type_b_components
from coincide.timing.known import known_from
from coincide.timing.uncertainty import Budget, Component, budget, rectangular_u


def skew_budget(analysis: Analysis) -> Budget | None:
    """Type A of the centre, type B of each body's mid-exposure, tick and clock; None without a suggestion."""
    suggestion, measured = analysis.suggestion, analysis.measured
    if suggestion is None:
        return None
    parts = [
        Component(
            f"scatter of {suggestion.shots_used} pairs",
            suggestion.type_a_s,
            float(max(suggestion.shots_used - 1, 1)),
            "student",
            "A",
            "fire more pairs",
        )
    ]
    parts += type_b_components(named_parts(measured.mids))
    parts.append(
        Component("one tick at either edge", rectangular_u(measured.resolution_s), distribution="rectangular")
    )
    clock_s = abs(suggestion.best_s) * CLOCK_PPM * 1e-6
    parts.append(Component("the box's clock", rectangular_u(clock_s), distribution="rectangular"))
    zero = known_from(measured.session.header.known).zero
    if zero is not None:
        parts.append(Component("zero check", zero.u_skew_s, remedy="more pulses in 'coincide box check'"))
    return budget(tuple(parts))
