"""What timing needs of a body's shutter, taken from the rig in one place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from coincide.rig.model import Body
from coincide.rig.optics.curtain import FROM_REST, time_at
from coincide.rig.optics.leaf import area_in_use, exposure_grown_s
from coincide.rig.parts import Electronic, ElectronicFirstCurtain, FocalPlane, GateSensor, Leaf
from coincide.timing.shutter.sensors import EdgeModel

Kind = Literal["curtains", "blades", "rows"]

TRAVEL_U = 0.05  # standard uncertainty of a travel time as given in the rig, relative
BLADES_U = 0.10  # of opening and closing times as given, relative
APERTURE_U = 0.25  # of what stopping down adds: blades do not uncover the area quite evenly in time


@dataclass(frozen=True, slots=True)
class ShutterModel:
    """Curtains, blades, or rows read out; seconds.

    sweep_s: travel or readout (0 for blades). length_m: frame side along the sweep. curve, curve_u: part of
    the travel left at frame centre, and its standard uncertainty. opening_s, closing_s: blades at full
    aperture. area: aperture in use over full aperture. marked_s: the shutter time set. contact_u_s:
    half-width of the contact's placement. x_speed_s: shortest time at which X works, 0 where none is known.
    """

    kind: Kind
    sweep_s: float
    length_m: float
    curve: float
    curve_u: float
    opening_s: float
    closing_s: float
    area: float
    marked_s: float
    contact_u_s: float
    x_speed_s: float

    def time_at(self, position: float, curve: float | None = None) -> float:
        """When an edge passes `position` (0 to 1 along the sweep), seconds after it entered the frame."""
        return self.sweep_s * float(time_at(position, self.curve if curve is None else curve))

    def from_centre_s(self, position: float, curve: float | None = None) -> float:
        """How much earlier than the frame's centre an edge passes `position`."""
        return self.time_at(0.5, curve) - self.time_at(position, curve)

    def curve_effect(self, of: Callable[[float], float]) -> float:
        """Standard uncertainty of anything that depends on the curve: half of the most it changes by within
        two standard uncertainties either way, as far as a curtain can (a start from rest is the lowest
        curve). The dependence is far from straight, so one standard uncertainty would tell too little of
        the 95 %."""
        low, high = (
            max(self.curve - 2 * self.curve_u, float(FROM_REST)),
            min(self.curve + 2 * self.curve_u, 0.6),
        )
        here = of(self.curve)
        return 0.5 * max(abs(of(high) - here), abs(of(low) - here))

    def edge(self, sensor: GateSensor, *, closing: bool = False) -> EdgeModel:
        """How light comes and goes on this sensor."""
        if self.kind == "blades":
            ramp = self.area * (self.closing_s if closing else self.opening_s)
        else:
            half = min(0.5 * sensor.width_m / self.length_m, 0.5)
            low, high = max(sensor.position - half, 0.0), min(sensor.position + half, 1.0)
            ramp = self.time_at(high) - self.time_at(low)
        return EdgeModel(ramp, sensor.rise_s, sensor.threshold)

    @property
    def sync_to_open_s(self) -> float:
        """From the ideal X instant to half-peak open at frame centre: negative, as the contact closes last.

        Curtains: the first has reached the far edge. Blades: fully open, while half the aperture in use was
        uncovered at area / 2 of the opening (blades taken to uncover the area evenly in time).
        """
        if self.kind == "blades":
            return -self.opening_s * (1.0 - 0.5 * self.area)
        return self.time_at(0.5) - self.sweep_s

    @property
    def exposure_grown_s(self) -> float:
        """What stopping down adds to the effective exposure: half of both ramps that the aperture cuts
        off."""
        if self.kind != "blades":
            return 0.0
        return exposure_grown_s(self.opening_s, self.closing_s, self.area)


def shutter_model(body: Body) -> ShutterModel:
    """The rig's description of a body as timing sees it."""
    shutter = body.shutter
    marked_s, contact_u = shutter.exposure.nominal_s, shutter.sync_uncertainty_s
    if isinstance(shutter, Leaf):
        area = area_in_use(body.lens)
        return ShutterModel(
            "blades", 0.0, 1.0, 0.5, 0.0, shutter.opening_s, shutter.closing_s, area, marked_s, contact_u, 0.0
        )
    along = body.frame.width_m if shutter.sweep in ("left to right", "right to left") else body.frame.height_m
    if isinstance(shutter, Electronic):
        # X can only close while every row is open.
        return ShutterModel(
            "rows", shutter.readout_s, along, 0.5, 0.0, 0.0, 0.0, 1.0, marked_s, contact_u, shutter.readout_s
        )
    if isinstance(shutter, ElectronicFirstCurtain):
        return ShutterModel(
            "curtains",
            shutter.travel_s,
            along,
            0.5,
            0.08,
            0.0,
            0.0,
            1.0,
            marked_s,
            contact_u,
            shutter.travel_s,
        )
    assert isinstance(shutter, FocalPlane)
    x_speed = shutter.sync_speed.nominal_s if shutter.sync_speed else 0.0
    return ShutterModel(
        "curtains",
        shutter.travel_s,
        along,
        shutter.curve,
        shutter.curve_uncertainty,
        0.0,
        0.0,
        1.0,
        marked_s,
        contact_u,
        x_speed,
    )


def exposure_limits_s(marked_s: float, stops: float) -> float:
    """Half-width of a marked time good to +-`stops`: the longer side, as a rectangle must hold both."""
    return marked_s * float(np.exp2(stops) - 1.0)
