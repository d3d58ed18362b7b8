"""What a body is made of: shutter, lens, sensors, the way it is mounted. Frozen; SI units in the names.

The key in the TOML file is the field's alias: `travel = "7 ms"` is read into `travel_s`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, model_validator

from coincide.rig.fields import (
    Aperture,
    BladeTime,
    DialTime,
    EdgeTime,
    Exposure,
    FocalLength,
    Focused,
    FocusShift,
    FrameSide,
    PupilDistance,
    ReadoutTime,
    ScrewArm,
    ScrewPitch,
    SensorPlace,
    SensorTime,
    SensorWidth,
    TravelTime,
    Uncertainty,
)
from coincide.units import ShutterTime

Sweep = Literal["left to right", "right to left", "top to bottom", "bottom to top"]
Looks = Literal["straight", "up at the glass", "down at the glass", "from the left", "from the right"]
TopPlate = Literal["up", "down", "left", "right", "towards the scene", "towards the photographer"]

Fraction = Annotated[float, Field(strict=True, ge=0.0, le=1.0)]
Positive = Annotated[float, Field(strict=True, gt=0.0, le=1e6)]


class Part(BaseModel):
    """A table of the rig file: nothing unknown in it, nothing changed after reading."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Frame(Part):
    """The picture as the body makes it when it stands level, top plate up."""

    width_m: FrameSide = Field(alias="width", description="the width of the frame, such as '36 mm'")
    height_m: FrameSide = Field(alias="height", description="the height of the frame, such as '24 mm'")

    @property
    def diagonal_m(self) -> float:
        """Corner to corner."""
        return float((self.width_m**2 + self.height_m**2) ** 0.5)


class _Shutter(Part):
    exposure: Exposure = Field(description="the shutter time that is set, such as '1/125'")
    marked: tuple[DialTime, ...] = Field(
        (), description="the shutter times on the dial, such as ['1/500', '1/250', '1/125']"
    )
    sync_uncertainty_s: Uncertainty = Field(
        0.001,
        alias="sync_uncertainty",
        description="how far the sync contact may be from its ideal instant, such as '1 ms'",
    )


class FocalPlane(_Shutter):
    """Two curtains. `curve` is the part of the travel time, at frame centre, between the first curtain's
    passing and the sync contact: 0.5 for constant speed, 0.29 for a start from rest at the frame's edge."""

    kind: Literal["focal-plane"]
    travel_s: TravelTime = Field(
        alias="travel",
        description="the time a curtain takes from picture edge to picture edge, such as '7 ms'",
    )
    sweep: Sweep = Field(description="the way the curtains run at the gate, seen from behind the body")
    curve: Annotated[float, Field(strict=True, ge=0.2, le=0.6)] = Field(
        0.42,
        description="a number from 0.2 to 0.6: 0.5 for constant speed, less for accelerating curtains",
    )
    curve_uncertainty: Annotated[float, Field(strict=True, ge=0.0, le=0.3)] = Field(
        0.08, description="a number from 0 to 0.3: how uncertain 'curve' is"
    )
    sync_speed: Exposure | None = Field(None, description="the shortest time with flash, such as '1/125'")

    def above_sync_speed(self, time: ShutterTime) -> bool:
        """Whether a shutter time is shorter than the sync speed, where many a body suppresses X."""
        # A hundredth: marks that stand for the same time are not told apart by rounding.
        return self.sync_speed is not None and time.nominal_s < 0.99 * self.sync_speed.nominal_s


class Leaf(_Shutter):
    """Blades in the lens: the whole frame at once. Opening and closing at full aperture."""

    kind: Literal["leaf"]
    opening_s: BladeTime = Field(
        alias="opening", description="the time the blades take to open fully, such as '2 ms'"
    )
    closing_s: BladeTime = Field(
        alias="closing", description="the time the blades take to close from fully open, such as '2 ms'"
    )


class Electronic(_Shutter):
    """Row after row read out of a sensor; no curtain."""

    kind: Literal["electronic"]
    readout_s: ReadoutTime = Field(
        alias="readout", description="the time from the first row to the last, such as '20 ms'"
    )
    sweep: Sweep = Field(description="the way the rows are read at the gate, seen from behind the body")


class ElectronicFirstCurtain(_Shutter):
    """Rows reset electronically, ended by a real second curtain."""

    kind: Literal["electronic-first-curtain"]
    travel_s: TravelTime = Field(
        alias="travel", description="the time the second curtain takes over the frame, such as '4 ms'"
    )
    sweep: Sweep = Field(description="the way the curtain runs at the gate, seen from behind the body")


Shutter = Annotated[FocalPlane | Leaf | Electronic | ElectronicFirstCurtain, Field(discriminator="kind")]


class Lens(Part):
    """The lens in use."""

    focal_length_m: FocalLength = Field(
        alias="focal_length", description="the focal length marked on the lens, such as '35 mm'"
    )
    aperture: Aperture = Field(description="the aperture that is set, such as 'f/8'")
    widest: Aperture = Field(description="the widest aperture of the lens, such as 'f/2'")
    smallest: Aperture = Field(description="the smallest aperture of the lens, such as 'f/16'")
    focused_m: Focused | None = Field(
        None,
        alias="focused",
        description="the distance set on the focusing scale, such as '10 m' or 'infinity'",
    )
    pupil_magnification: Annotated[float, Field(strict=True, ge=0.1, le=10.0)] = Field(
        1.0,
        description="a number such as 0.8: how wide the pupil looks from behind the lens, over how wide from in front",
    )
    infrared_shift_m: FocusShift | None = Field(
        None,
        alias="infrared_shift",
        description="how much farther out the lens must stand for infrared light, such as '0.14 mm'",
    )

    @model_validator(mode="after")
    def _range(self) -> Lens:
        if self.widest > self.smallest:
            raise ValueError(
                f"widest is f/{self.widest:g} and smallest f/{self.smallest:g}: exchange the two."
            )
        if not self.widest <= self.aperture <= self.smallest:
            raise ValueError(
                f"aperture is f/{self.aperture:g}, outside the lens's range of f/{self.widest:g} to "
                f"f/{self.smallest:g}."
            )
        return self


class Screw(Part):
    """An adjusting screw of a mount. With an arm it turns the body, without one it carries it."""

    pitch_m: ScrewPitch = Field(alias="pitch", description="how far a turn drives it, such as '0.5 mm'")
    arm_m: ScrewArm | None = Field(
        None,
        alias="arm",
        description="from the pivot to the screw, such as '60 mm'; without it the body slides",
    )


class Screws(Part):
    """The screws of a mount, each by what it does; those that are missing are left out."""

    pan: Screw | None = Field(None, description="a table such as { pitch = '0.5 mm', arm = '60 mm' }")
    tilt: Screw | None = Field(None, description="a table such as { pitch = '0.5 mm', arm = '60 mm' }")
    roll: Screw | None = Field(None, description="a table such as { pitch = '0.5 mm', arm = '60 mm' }")
    sideways: Screw | None = Field(None, description="a table such as { pitch = '0.7 mm' }")
    height: Screw | None = Field(None, description="a table such as { pitch = '0.7 mm' }")
    forward: Screw | None = Field(None, description="a table such as { pitch = '0.7 mm' }")

    @model_validator(mode="after")
    def _arms(self) -> Screws:
        for name in ("pan", "tilt", "roll"):
            screw = getattr(self, name)
            if screw is not None and screw.arm_m is None:
                raise ValueError(f"{name} turns the body: give its 'arm', from the pivot to the screw.")
        return self


class Mount(Part):
    """How the body sits, described by someone who stands behind the rig and faces the scene."""

    looks: Looks = Field(description="the way the lens points")
    top_plate: TopPlate = Field(description="the way the top plate faces")
    screws: Screws = Field(
        Screws(), description="a table such as { pan = { pitch = '0.5 mm', arm = '60 mm' } }"
    )
    pupil_m: PupilDistance | None = Field(
        None,
        alias="pupil",
        description="from the lens's entrance pupil to the glass, along the lens axis, such as '90 mm'",
    )

    @model_validator(mode="after")
    def _possible(self) -> Mount:
        along = {
            "straight": ("towards the scene", "towards the photographer"),
            "up at the glass": ("up", "down"),
            "down at the glass": ("up", "down"),
            "from the left": ("left", "right"),
            "from the right": ("left", "right"),
        }[self.looks]
        if self.top_plate in along:
            raise ValueError(
                f"top_plate is '{self.top_plate}', which cannot be with a lens that looks '{self.looks}': "
                "the top plate faces across the lens axis."
            )
        return self


class SyncSensor(Part):
    """The input that watches the sync contact: what its isolator adds."""

    delay_s: SensorTime = Field(
        5e-6, alias="delay", description="what the input adds to a closing, such as '5 us'"
    )
    delay_uncertainty_s: SensorTime = Field(
        5e-6, alias="delay_uncertainty", description="how uncertain 'delay' is, such as '5 us'"
    )


class GateSensor(Part):
    """A photodiode at the film gate. `position` runs along the sweep: 0 where the exposure begins."""

    position: Fraction = Field(
        0.5, description="a number from 0 to 1: where along the sweep it sits, 0 where the exposure begins"
    )
    position_uncertainty_m: SensorPlace = Field(
        0.001,
        alias="position_uncertainty",
        description="how far along the sweep it may sit from 'position', such as '1 mm'",
    )
    width_m: SensorWidth = Field(
        0.0005, alias="width", description="its width along the sweep, such as '0.5 mm'"
    )
    threshold: Annotated[float, Field(strict=True, gt=0.0, lt=1.0)] = Field(
        0.5, description="a number between 0 and 1: the part of the full light at which it trips"
    )
    delay_on_s: SensorTime = Field(
        5e-6, alias="delay_on", description="what sensor and isolator add when it gets light, such as '5 us'"
    )
    delay_off_s: SensorTime = Field(
        5e-6, alias="delay_off", description="what sensor and isolator add when it gets dark, such as '5 us'"
    )
    delay_uncertainty_s: SensorTime = Field(
        5e-6, alias="delay_uncertainty", description="how uncertain the delays are, such as '5 us'"
    )
    rise_s: SensorTime = Field(
        2e-6, alias="rise", description="its rise time from 10 to 90 per cent, such as '2 us'"
    )


class Sensors(Part):
    """What the box sees of a body besides its release."""

    sync: SyncSensor = Field(SyncSensor(), description="a table such as { delay = '5 us' }")
    gate_1: GateSensor | None = Field(
        None, description="a table such as { position = 0.5, width = '0.5 mm' }"
    )
    gate_2: GateSensor | None = Field(
        None, description="a table such as { position = 0.9, width = '0.5 mm' }"
    )

    @property
    def gates(self) -> tuple[GateSensor | None, GateSensor | None]:
        """Both gate sensors, None where there is none."""
        return (self.gate_1, self.gate_2)


class Edges(Part):
    """When an edge counts."""

    bounce_s: EdgeTime = Field(
        0.012, alias="bounce", description="the longest time a contact bounces, such as '12 ms'"
    )
    earliest_s: EdgeTime = Field(
        0.003, alias="earliest", description="the shortest time from full-press to exposure, such as '3 ms'"
    )
    latest_s: EdgeTime = Field(
        1.0, alias="latest", description="the longest time from full-press to exposure, such as '1 s'"
    )
    shortest_s: EdgeTime = Field(
        0.0005, alias="shortest", description="the shortest closing that is an exposure, such as '0.5 ms'"
    )

    @model_validator(mode="after")
    def _window(self) -> Edges:
        if self.earliest_s >= self.latest_s:
            raise ValueError("'earliest' must come before 'latest'.")
        return self
