"""A computed value with its corners, its limits, and what it does to the timing."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import product

COLD_C, HOT_C = -10.0, 50.0


@dataclass(frozen=True, slots=True)
class Timing:
    """What a circuit adds to a measured time.

    `signal` is the row of the pin table it belongs to ("sync_a", "gate_b2", "full_a"). `delay_s` is the delay
    about which what is not known of it lies, `half_width_s` that half-width, taken as rectangular; `left_s` the
    half-width that is left after a zero check (equal where the check does not see it). `enters` says where:
    'skew' and 'lag' (mid-exposures and full-press edges), or 'prediction' (a drift of the body itself, between
    measuring and shooting).
    """

    name: str
    signal: str
    enters: str
    delay_s: float
    half_width_s: float
    left_s: float

    @property
    def u_s(self) -> float:
        """Standard uncertainty before a zero check (GUM 4.3.7)."""
        return self.half_width_s / math.sqrt(3)

    @property
    def u_left_s(self) -> float:
        """Standard uncertainty after a zero check."""
        return self.left_s / math.sqrt(3)


@dataclass(frozen=True, slots=True)
class Figure:
    """One computed value, SI units in `unit`; `least` and `most` over all `corners` combinations.

    `limits` are (lower, upper), either None. `parts` are the references it was computed from.
    """

    key: str
    sheet: str
    title: str
    formula: str
    unit: str
    value: float
    least: float
    most: float
    corners: int
    limits: tuple[float | None, float | None]
    parts: tuple[str, ...]
    timing: Timing | None = None

    @property
    def inside(self) -> bool:
        """No corner leaves the limits."""
        low, high = self.limits
        return (low is None or self.least >= low) and (high is None or self.most <= high)

    @property
    def margin(self) -> float:
        """How many times the worst corner could move towards its nearer limit; below 1 is outside."""
        low, high = self.limits
        ratios = []
        if low is not None and low > 0:
            ratios.append(self.least / low)
        if high is not None and high > 0:
            ratios.append(high / self.most if self.most > 0 else math.inf)
        return min(ratios) if ratios else math.inf


Span = tuple[float, float, float]


def about(value: float, tolerance: float) -> Span:
    """(nominal, least, most) from a relative tolerance."""
    return value, value * (1 - tolerance), value * (1 + tolerance)


def named(values: Mapping[str, float], name: str) -> Span:
    """(nominal, least, most) from `name`, `name_min`, `name_max` of a part's values."""
    return values[name], values[f"{name}_min"], values[f"{name}_max"]


def sweep(formula: Callable[..., float], **spans: Span) -> tuple[float, float, float, int]:
    """(nominal, least, most, number of corners) of a formula over every combination of extremes.

    Every formula here rises or falls steadily in each of its values, so the extremes lie in the corners.
    """
    nominal = formula(**{name: span[0] for name, span in spans.items()})
    found = [
        formula(**dict(zip(spans, corner, strict=True)))
        for corner in product(*(span[1:] for span in spans.values()))
    ]
    return nominal, min(nominal, *found), max(nominal, *found), len(found)
