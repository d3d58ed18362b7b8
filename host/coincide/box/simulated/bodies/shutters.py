"""How light gets through: curtains, blades and rolling read-out, from first principles.

Every shutter answers the same questions, in seconds after it began to move: when does a point of the frame
see light begin and end, how much of a small sensor is lit at a time, and when does the X contact close.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from coincide.box.simulated.spec import GateSpec, ShutterSpec

CENTRE = 0.5


class Exposure(Protocol):
    """One exposure in progress. Points `u` run from 0 to 1 along the sweep. Times are seconds from its start."""

    @property
    def end_s(self) -> float:
        """When nothing moves any more."""

    @property
    def x_s(self) -> float | None:
        """When an ideal X contact closes; None when the shutter is never fully open."""

    def lit_s(self, u: float) -> tuple[float, float]:
        """Half-peak opening and closing at a point."""

    def centroid_s(self, u: float) -> float:
        """The centre of gravity of the light at a point."""

    def light(self, t_s: float, low: float, high: float) -> float:
        """Mean light over the stretch low..high of the sweep, 1 = fully lit."""


@dataclass(frozen=True, slots=True)
class Curtain:
    """One curtain edge crossing the frame. See `ShutterSpec.run_up`."""

    start_s: float
    travel_s: float
    run_up: float | None

    def at_s(self, u: float) -> float:
        """When the edge passes u. Uniform acceleration from rest, entering the frame after the run-up:
        u = ((r + x)^2 - r^2) / ((r + 1)^2 - r^2) with x in travel times."""
        if self.run_up is None:
            return self.start_s + self.travel_s * u
        r = self.run_up
        return self.start_s + self.travel_s * (math.sqrt(r * r + u * (2 * r + 1)) - r)

    def where(self, t_s: float) -> float:
        """How far the edge has come at a time, not clipped outside the frame."""
        x = (t_s - self.start_s) / self.travel_s
        if self.run_up is None:
            return x
        r = self.run_up
        return (max(r + x, 0.0) ** 2 - r * r) / (2 * r + 1)


@dataclass(frozen=True, slots=True)
class CurtainExposure:
    """A focal-plane shutter: the first curtain uncovers, the second covers."""

    first: Curtain
    second: Curtain
    end_s: float
    x_s: float | None

    def lit_s(self, u: float) -> tuple[float, float]:
        return self.first.at_s(u), self.second.at_s(u)

    def centroid_s(self, u: float) -> float:
        opened, closed = self.lit_s(u)
        return (opened + closed) / 2

    def light(self, t_s: float, low: float, high: float) -> float:
        width = high - low
        open_to = min(max(self.first.where(t_s), low), high)
        closed_to = min(max(self.second.where(t_s), low), high)
        return max(0.0, open_to - closed_to) / width


@dataclass(frozen=True, slots=True)
class LeafExposure:
    """A leaf shutter: every point of the frame sees the same, blades uncover area over time.

    `reach` is the part of the full area the blades get to open; `area` that of the aperture in use.
    """

    opening_s: float
    closing_s: float
    reach: float
    area: float
    power: float
    end_s: float
    x_s: float | None

    def _uncovered(self, t_s: float) -> float:
        if t_s <= 0 or t_s >= self.end_s:
            return 0.0
        rising = math.pow(t_s / self.opening_s, self.power)
        falling = math.pow((self.end_s - t_s) / self.closing_s, self.power)
        return min(rising, falling, self.reach)

    def light(self, t_s: float, low: float, high: float) -> float:
        return min(self._uncovered(t_s), self.area) / self.area

    def lit_s(self, u: float) -> tuple[float, float]:
        half = math.pow(min(self.reach, self.area) / 2, 1 / self.power)
        return self.opening_s * half, self.end_s - self.closing_s * half

    def centroid_s(self, u: float) -> float:
        top = math.pow(min(self.reach, self.area), 1 / self.power)
        rise, fall = self.opening_s * top, self.closing_s * top
        flat = self.end_s - rise - fall
        # A ramp t^p over a length L has area L/(p+1) and its centre at L (p+1)/(p+2) from its foot.
        ramp = 1 / (self.power + 1)
        arm = (self.power + 1) / (self.power + 2)
        weight = rise * ramp + flat + fall * ramp
        moment = rise * ramp * rise * arm + flat * (rise + flat / 2) + fall * ramp * (self.end_s - fall * arm)
        return moment / weight


@dataclass(frozen=True, slots=True)
class RollingExposure:
    """An electronic shutter: rows begin and end one after another, nothing moves and no contact closes.

    A sensor at the gate sits before the image sensor and sees no shutter at all."""

    exposure_s: float
    readout_s: float
    end_s: float
    x_s: float | None = None

    def lit_s(self, u: float) -> tuple[float, float]:
        start = self.readout_s * u
        return start, start + self.exposure_s

    def centroid_s(self, u: float) -> float:
        return self.readout_s * u + self.exposure_s / 2

    def light(self, t_s: float, low: float, high: float) -> float:
        return 0.0


def expose(shutter: ShutterSpec, exposure_s: float) -> Exposure:
    """One exposure of the shutter, with the exposure time as it comes out this once."""
    if shutter.kind == "leaf":
        return _leaf(shutter, exposure_s)
    if shutter.kind == "electronic":
        return RollingExposure(exposure_s, shutter.readout_s, exposure_s + shutter.readout_s)
    first = Curtain(0.0, shutter.travel_s, shutter.run_up)
    if shutter.kind == "electronic first curtain":
        # The rows are reset in the rhythm of the second curtain that will cover them.
        second = Curtain(exposure_s, shutter.travel_s, shutter.run_up)
        return CurtainExposure(first, second, second.at_s(1.0), first.at_s(1.0))
    second_travel_s = shutter.travel_s if shutter.second_travel_s is None else shutter.second_travel_s
    second_run_up = shutter.run_up if shutter.second_run_up is None else shutter.second_run_up
    second = Curtain(exposure_s, second_travel_s, second_run_up)
    return CurtainExposure(first, second, second.at_s(1.0), first.at_s(1.0))


def _leaf(shutter: ShutterSpec, exposure_s: float) -> LeafExposure:
    ramps = (shutter.opening_s + shutter.closing_s) * 0.5 ** (1 / shutter.blade_power)
    # Half-peak to half-peak, fully open: dwell + what is left of both ramps above half.
    full_ramps = shutter.opening_s + shutter.closing_s - ramps
    dwell = exposure_s - full_ramps
    if dwell >= 0:
        return LeafExposure(
            shutter.opening_s,
            shutter.closing_s,
            1.0,
            shutter.aperture_area,
            shutter.blade_power,
            shutter.opening_s + dwell + shutter.closing_s,
            shutter.opening_s,
        )
    # The blades turn back before they are open: both ramps shortened alike, the X contact is never reached.
    part = exposure_s / full_ramps
    reach = part**shutter.blade_power
    return LeafExposure(
        shutter.opening_s,
        shutter.closing_s,
        reach,
        shutter.aperture_area,
        shutter.blade_power,
        (shutter.opening_s + shutter.closing_s) * part,
        None,
    )


def gate_crossings(
    exposure: Exposure,
    gate: GateSpec,
    shutter: ShutterSpec,
    lamp: Callable[[float], float] | None,
) -> list[tuple[float, int]]:
    """(seconds, level) of each change of a gate sensor's comparator, in order. `lamp` gives the brightness of
    the lamp, 0 to 1, at a time (None: steady). Empty when the light never reaches the threshold."""
    position = gate.position if shutter.sweep in ("down", "right") else 1 - gate.position
    low, high = position - gate.width / 2, position + gate.width / 2

    def light(t_s: float) -> float:
        seen = exposure.light(t_s, low, high)
        return seen if lamp is None else seen * lamp(t_s)

    opened, closed = exposure.lit_s(position)
    if lamp is None and light((opened + closed) / 2) >= gate.threshold:
        middle = (opened + closed) / 2
        return [
            (_crossing(light, -0.2 * exposure.end_s, middle, gate.threshold), 1),
            (_crossing(light, 1.2 * exposure.end_s, middle, gate.threshold), 0),
        ]
    return _scanned(light, exposure.end_s, gate.threshold)


def _crossing(light: Callable[[float], float], dark_s: float, lit_s: float, threshold: float) -> float:
    """Bisection between a time below the threshold and one above it, to half a nanosecond."""
    while abs(lit_s - dark_s) > 1e-9:
        middle = (dark_s + lit_s) / 2
        if light(middle) >= threshold:
            lit_s = middle
        else:
            dark_s = middle
    return lit_s


def _scanned(light: Callable[[float], float], end_s: float, threshold: float) -> list[tuple[float, int]]:
    """Crossings found by stepping through the exposure; for light with more than one maximum."""
    step = max(end_s / 2000, 5e-6)
    crossings: list[tuple[float, int]] = []
    level, before = 0, 0.0
    for index in range(1, math.ceil(end_s / step) + 1):
        t_s = index * step
        now = int(light(t_s) >= threshold)
        if now != level:
            lit, dark = (t_s, before) if now else (before, t_s)
            crossings.append((_crossing(light, dark, lit, threshold), now))
            level = now
        before = t_s
    return crossings
