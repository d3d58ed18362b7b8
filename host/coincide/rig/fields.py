"""Kinds of value a rig file can hold: each reads one TOML value and says what it expected."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from coincide.units import Kind, ShutterTime, f_number, quantity, scan_pitch_m, shutter_time


@dataclass(frozen=True, slots=True)
class Text:
    """Reads a value written as text in TOML. `expected` is what a person should have written there."""

    expected: str
    read: Callable[[str], Any]

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.check)

    def check(self, value: object) -> Any:
        """The value read. Raises ValueError in a sentence."""
        if not isinstance(value, str):
            raise ValueError(f"{value!r:.60} was found; {self.expected} in quotes was expected.")
        return self.read(value)


def _within(kind: Kind, least: str, most: str, example: str) -> Text:
    """A quantity that a rig can plausibly have; limits and example as a person would write them."""
    expected = f"a {kind} from {least} to {most} such as '{example}'"
    limits: list[float] = []

    def read(text: str) -> float:
        value = quantity(text, kind)
        if not limits:  # read on first use, as the unit library loads slowly
            limits.extend(quantity(limit, kind) for limit in (least, most))
        if not limits[0] <= value <= limits[1]:
            raise ValueError(f"'{text}' is out of range: {expected} was expected.")
        return value

    return Text(expected, read)


def _shutter_time(longest_s: float) -> Callable[[str], ShutterTime]:
    def read(text: str) -> ShutterTime:
        time = shutter_time(text)
        if not 1 / 20_000 <= time.nominal_s <= longest_s:
            raise ValueError(
                f"'{text}' is out of range: a shutter time from 1/16000 to {longest_s:g} s was expected."
            )
        return time

    return read


def _aperture(text: str) -> float:
    value = f_number(text)
    if not 0.5 <= value <= 256:
        raise ValueError(f"'{text}' is out of range: an aperture from f/0.5 to f/256 was expected.")
    return value


def _pitch(text: str) -> float:
    pitch_m = scan_pitch_m(text)
    if not 0.5e-6 <= pitch_m <= 0.5e-3:
        raise ValueError(f"'{text}' is out of range: 60 dpi to 48000 dpi was expected.")
    return pitch_m


def _focused(text: str) -> float:
    """What a focusing scale can say, infinity included."""
    if text.strip().lower() in ("infinity", "inf", "\N{INFINITY}"):
        return math.inf
    distance_m = quantity(text, "length")
    if not 0.01 <= distance_m <= 100_000.0:
        raise ValueError(
            f"'{text}' is out of range: a distance from 1 cm to 100 km such as '10 m' was expected, or 'infinity'."
        )
    return distance_m


# No longer than the box can listen to; a dial may say more.
LONGEST_EXPOSURE_S = 8.0
Exposure = Annotated[ShutterTime, Text("a shutter time such as '1/125'", _shutter_time(LONGEST_EXPOSURE_S))]
DialTime = Annotated[ShutterTime, Text("a shutter time such as '1/125'", _shutter_time(64.0))]
Aperture = Annotated[float, Text("an aperture such as 'f/8'", _aperture)]
ScanPitch = Annotated[float, Text("a scan resolution such as '4000 dpi'", _pitch)]

TravelTime = Annotated[float, _within("time", "0.2 ms", "100 ms", "7 ms")]
BladeTime = Annotated[float, _within("time", "0.05 ms", "50 ms", "2 ms")]
ReadoutTime = Annotated[float, _within("time", "0.01 ms", "500 ms", "20 ms")]
Uncertainty = Annotated[float, _within("time", "0 ms", "50 ms", "1 ms")]
SensorTime = Annotated[float, _within("time", "0 us", "10 ms", "20 us")]
LeadTime = Annotated[float, _within("time", "0 s", "2 s", "300 ms")]
ClosureTime = Annotated[float, _within("time", "1 ms", "5 s", "150 ms")]
WindowTime = Annotated[float, _within("time", "10 ms", "10 s", "1 s")]
IntervalTime = Annotated[float, _within("time", "0.1 s", "10 min", "3 s")]
EdgeTime = Annotated[float, _within("time", "0 ms", "10 s", "3 ms")]
ToleranceTime = Annotated[float, _within("time", "1 us", "10 s", "2 ms")]
MeterTime = Annotated[float, _within("time", "1 us", "2 h", "1 s")]

FrameSide = Annotated[float, _within("length", "2 mm", "600 mm", "36 mm")]
FocalLength = Annotated[float, _within("length", "1 mm", "3 m", "35 mm")]
SensorPlace = Annotated[float, _within("length", "0 mm", "20 mm", "1 mm")]
SensorWidth = Annotated[float, _within("length", "1 um", "20 mm", "0.5 mm")]
ScrewPitch = Annotated[float, _within("length", "0.05 mm", "10 mm", "0.5 mm")]
ScrewArm = Annotated[float, _within("length", "3 mm", "1 m", "60 mm")]
Focused = Annotated[float, Text("a distance such as '10 m', or 'infinity'", _focused)]
Distance = Annotated[float, _within("length", "1 cm", "100 km", "10 m")]
PlateThickness = Annotated[float, _within("length", "0.05 mm", "20 mm", "3 mm")]
PlateSide = Annotated[float, _within("length", "5 mm", "2 m", "150 mm")]
PupilDistance = Annotated[float, _within("length", "5 mm", "2 m", "90 mm")]
FocusShift = Annotated[float, _within("length", "0 mm", "20 mm", "0.14 mm")]
Wedge = Annotated[float, _within("angle", "0 arcmin", "1 deg", "1 arcmin")]
OnFilm = Annotated[float, _within("length", "0.5 um", "2 mm", "30 um")]
PrintSide = Annotated[float, _within("length", "1 cm", "20 m", "30 cm")]
ViewingDistance = Annotated[float, _within("length", "5 cm", "200 m", "40 cm")]
Speed = Annotated[float, _within("speed", "0.001 m/s", "1000 m/s", "5 km/h")]
