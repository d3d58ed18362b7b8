"""What a gate sensor does to an edge: its width, its threshold, its rise time, its bandwidth, the lamp's
flicker.

A slit or curtain edge takes `ramp` seconds to pass a sensor of finite width, so light on it rises as a ramp
(and falls as one). The sensor smooths that with its time constant (10-90 % rise time / ln 9, the rise of a
first-order low pass), the comparator trips at `threshold` of the full light. Half-peak is the middle of the
ramp (ISO 516's effective exposure of a trapezoid is its half-peak width); everything else is corrected here
or carried as uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

Floats = npt.NDArray[np.float64]

THRESHOLD_U = 0.05  # standard uncertainty of a comparator's threshold, as part of the full light
PER_TOTAL_OPEN_TIME = 100.0  # ISO 516:2019: -3 dB at 100 / t0 or above, t0 toe to toe
MAINS_HZ = (100.0, 120.0)
FLICKER_NEAR = 0.03  # of a half period: how far a gap between darks may be from a whole number of them
LEAST_FLASHES = 3
MOST_PERIODS = 6.0  # over a longer gap a mains that is a little off would agree with anything


@dataclass(frozen=True, slots=True)
class EdgeModel:
    """One sensor against one edge: seconds. ramp_s: time the edge takes to pass the sensor (0 for blades
    that darken the whole frame are given their opening time). rise_s: 10-90 %. threshold: part of the full
    light."""

    ramp_s: float
    rise_s: float
    threshold: float

    @property
    def constant_s(self) -> float:
        """Time constant of the first-order low pass: rise / 2.197."""
        return self.rise_s / float(np.log(9.0))

    @property
    def bandwidth_hz(self) -> float:
        """-3 dB: 1 / (2 pi tau), that is 0.35 / rise."""
        return float(np.inf) if self.rise_s == 0 else 1.0 / (2.0 * np.pi * self.constant_s)


def late_when_opening_s(edge: EdgeModel) -> float:
    """How much later than half-peak the comparator trips when light comes."""
    return _crossing_s(edge, edge.threshold) - 0.5 * edge.ramp_s


def late_when_closing_s(edge: EdgeModel) -> float:
    """How much later than half-peak it trips when light goes: the fall is the rise upside down."""
    return _crossing_s(edge, 1.0 - edge.threshold) - 0.5 * edge.ramp_s


def _crossing_s(edge: EdgeModel, level: float) -> float:
    """When a low-passed ramp from 0 to 1 reaches `level`, seconds after the ramp began.

    On the ramp y = (t - tau (1 - exp(-t/tau))) / ramp, after it 1 - (tau/ramp)(exp(ramp/tau) - 1)
    exp(-t/tau).
    """
    ramp, tau = edge.ramp_s, edge.constant_s
    if tau <= 1e-4 * ramp or tau == 0.0:
        return level * ramp + tau
    if ramp <= 1e-4 * tau:
        return -tau * float(np.log1p(-level)) + 0.5 * ramp

    def short(t: float) -> float:
        if t <= ramp:
            return (t + tau * float(np.expm1(-t / tau))) / ramp - level
        return 1.0 - tau / ramp * float(-np.expm1(-ramp / tau)) * float(np.exp(-(t - ramp) / tau)) - level

    return float(optimize.brentq(short, 0.0, ramp + 60.0 * tau, xtol=1e-12))


def threshold_u_s(edge: EdgeModel) -> tuple[float, float]:
    """Standard uncertainty of (opening, closing) from that of the threshold: numerically, both ends of it."""
    up = min(edge.threshold + THRESHOLD_U, 0.98)
    down = max(edge.threshold - THRESHOLD_U, 0.02)
    high, low = (EdgeModel(edge.ramp_s, edge.rise_s, level) for level in (up, down))
    share = 2.0 * THRESHOLD_U / (up - down)
    return (
        0.5 * share * abs(late_when_opening_s(high) - late_when_opening_s(low)),
        0.5 * share * abs(late_when_closing_s(high) - late_when_closing_s(low)),
    )


def why_blind(exposure_s: float, edge: EdgeModel, who: str) -> str | None:
    """Why this sensor cannot see an exposure of this length, or None.

    A slit narrower than the sensor lights it to exposure / ramp of the full light at most.
    """
    peak = exposure_s / edge.ramp_s if edge.ramp_s > 0 else np.inf
    if peak > edge.threshold:
        return None
    return (
        f"Not measurable, because the slit of {who} is narrower than its gate sensor at {exposure_s * 1e3:.2g} ms: "
        f"the sensor gets {peak:.0%} of the full light and trips at {edge.threshold:.0%}. Use a narrower sensor."
    )


def why_too_slow(exposure_s: float, edge: EdgeModel, who: str) -> str | None:
    """Why this sensor's bandwidth does not do for an exposure, after ISO 516, or None. t0 counts toe to
    toe."""
    total = exposure_s + edge.ramp_s
    needed = PER_TOTAL_OPEN_TIME / total
    if edge.bandwidth_hz >= needed:
        return None
    return (
        f"The gate sensor of {who} reaches {edge.bandwidth_hz / 1e3:.3g} kHz, but an open time of "
        f"{total * 1e3:.2g} ms asks for {needed / 1e3:.3g} kHz (100 / t0, ISO 516): a smaller load resistor "
        "makes it faster."
    )


def flicker_hz(dark_s: Floats, row: npt.NDArray[np.int64]) -> float | None:
    """Mains flicker in what gate sensors saw: middles of darks (or beginnings of flashes) in seconds (k,) within
    rows (k,), in order. 100, 120 or None.

    Light that goes out twice in a mains cycle makes an exposure a train of flashes. Named when at least
    LEAST_FLASHES gaps, and most of all gaps, are a whole number of half periods.
    Darks that two sensors see at once are no gap. Exposures shorter than a half period cannot show it.
    """
    gap = np.diff(dark_s)[np.diff(row) == 0]
    gap = gap[(gap > 0.5 / max(MAINS_HZ)) & (gap < MOST_PERIODS / max(MAINS_HZ))]
    if gap.size < LEAST_FLASHES:
        return None
    found, most = None, 0.5
    for mains in MAINS_HZ:
        periods = np.maximum(np.round(gap * mains), 1.0)
        near = np.abs(gap * mains - periods) <= FLICKER_NEAR
        if near.sum() >= LEAST_FLASHES and near.mean() > most:
            found, most = mains, float(near.mean())
    return found


def stops(exposure_s: npt.ArrayLike, marked_s: float) -> Floats:
    """Exposure against the marked time, in stops: positive when longer."""
    return np.asarray(np.log2(np.asarray(exposure_s, dtype=np.float64) / marked_s))


def effective_exposure_s(opening_s: float, full_s: float, closing_s: float) -> float:
    """ISO 516: light integral over peak of a trapezoid, full + (opening + closing)/2, its half-peak width."""
    return full_s + 0.5 * (opening_s + closing_s)
