"""Every quantity of a report with its uncertainty, for the terminal, the page and JSON alike."""

from __future__ import annotations

import math
from typing import Any

from coincide.report.words.numbers import ms
from coincide.rig.model import Body, Rig
from coincide.session.model import BODIES
from coincide.timing.budget.quantities import Reported
from coincide.timing.shutter.traits import shutter_model

QUANTITY_COLUMNS = ("quantity", "value", "give or take (95 %)", "largest part", "what would help")


def rows_of(quantities: tuple[Reported, ...], rig: Rig) -> list[tuple[str, ...]]:
    """A row for skew, lags, exposures and travels; 'not measured' with its reason where there is no value."""
    return [_row(one, rig) for one in quantities]


def json_of(quantities: tuple[Reported, ...], rig: Rig) -> list[dict[str, Any]]:
    """The same with whole budgets; seconds. Exposures also in stops against the mark, travels as a mean speed."""
    return [
        {
            "quantity": one.what,
            "body": one.body,
            "value_s": one.value_s,
            "expanded_s": None if one.budget is None else one.budget.expanded_s,
            "stops_from_mark": _stops(one, rig),
            "speed_m_per_s": _speed(one, rig),
            "budget": one.budget,
            "why_not": one.why_not,
        }
        for one in quantities
    ]


def _row(one: Reported, rig: Rig) -> tuple[str, ...]:
    name = {
        "skew": "skew, no offset",
        "lag": "lag",
        "exposure": "exposure",
        "travel": "curtain travel",
    }[one.what]
    body = _body(one, rig)
    name = name if body is None else f"{name} of {body.name} ({one.body})"
    if one.budget is None:
        value = ms(one.value_s) if math.isfinite(one.value_s) else "not measured"
        return (name, value, "", "", one.why_not or "")
    half_s, largest = one.budget.expanded_s, one.budget.largest
    value = ms(one.value_s, half_s)
    stops, speed = _stops(one, rig), _speed(one, rig)
    if stops is not None:
        value += f" ({round(stops, 2) + 0.0:+.2f} stop)"
    if speed is not None:
        value += f" ({speed:.1f} m/s)"
    what, helps = ("", "") if largest is None else (largest.name, largest.remedy)
    return (name, value, ms(half_s, half_s), what, helps)


def _body(one: Reported, rig: Rig) -> Body | None:
    return None if one.body is None else rig.both[BODIES.index(one.body)]


def _stops(one: Reported, rig: Rig) -> float | None:
    """Exposure against the marked time; positive when longer."""
    body = _body(one, rig)
    if one.what != "exposure" or body is None or not one.value_s > 0:
        return None
    return math.log2(one.value_s / body.shutter.exposure.nominal_s)


def _speed(one: Reported, rig: Rig) -> float | None:
    """Mean speed of the curtains over the frame, metres a second."""
    body = _body(one, rig)
    if one.what != "travel" or body is None or not one.value_s > 0:
        return None
    return shutter_model(body).length_m / one.value_s
