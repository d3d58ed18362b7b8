"""Stops: apertures, shutter times, film speeds, filters and light as powers of two (APEX, ISO 2720, memory)."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.units import ShutterTime, UnitError, f_number, shutter_time

# The marks of third stops, from f/0.7 on; common practice. f/5.6 stands for 2**2.5, f/11 for 2**3.5.
THIRD_STOP_MARKS = (
    0.7,
    0.8,
    0.9,
    1.0,
    1.1,
    1.2,
    1.4,
    1.6,
    1.8,
    2.0,
    2.2,
    2.5,
    2.8,
    3.2,
    3.5,
    4.0,
    4.5,
    5.0,
    5.6,
    6.3,
    7.1,
    8.0,
    9.0,
    10.0,
    11.0,
    13.0,
    14.0,
    16.0,
    18.0,
    20.0,
    22.0,
    25.0,
    29.0,
    32.0,
    36.0,
    40.0,
    45.0,
    51.0,
    57.0,
    64.0,
    72.0,
    80.0,
    90.0,
)
FIRST_MARK_AV = -1.0
NEAR_A_MARK = 0.1  # stops by which a rounded mark may miss the third of a stop it stands for

USUAL_MARKS = tuple(
    shutter_time(mark)
    for mark in ("1/1000", "1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8", "1/4", "1/2", "1 s")
)


@dataclass(frozen=True, slots=True)
class Reading:
    """What a meter says. ev100: exposure value at ISO 100. said: in words."""

    ev100: float
    said: str


def meter_reading(text: str) -> Reading:
    """Read 'EV 12', or '1/250 f/8', 'f/8 1/250 ISO 400'. Without ISO, 100. Raises BadInput in a sentence."""
    expected = "a meter reading such as 'EV 12' (at ISO 100) or '1/250 f/8 ISO 400' was expected"
    value = re.fullmatch(
        r"\s*(?:EV|LV)\s*([-+]?\d+(?:\.\d+)?)\s*|\s*([-+]?\d+(?:\.\d+)?)\s*(?:EV|LV)\s*", text, re.I
    )
    if value is not None:
        ev100 = float(value[1] or value[2])
        if not -20 <= ev100 <= 30:
            raise BadInput(f"'{text}' is no light that films are exposed to: {expected}.")
        return Reading(ev100, f"EV {ev100:g} at ISO 100")
    parts = re.fullmatch(
        r"(?=.*[fF])\s*(?:(?P<f1>[fF]\s*/?\s*[\d.]+)\s*,?\s*)?(?P<time>\d+(?:/\d+|\.\d+|\s*)\s*s?)\s*,?\s*(?:at\s+)?"
        r"(?P<f2>[fF]\s*/?\s*[\d.]+)?\s*,?\s*(?:(?:at\s+)?ISO\s*(?P<iso>\d+(?:\.\d+)?))?\s*",
        text,
    )
    if parts is None or (parts["f1"] is None) == (parts["f2"] is None):
        raise BadInput(f"'{text}' is not understood: {expected}.")
    try:
        aperture = f_number(parts["f1"] or parts["f2"])
        time = shutter_time(parts["time"].strip())
    except UnitError as error:
        raise BadInput(f"'{text}' is not understood: {error}") from None
    iso = float(parts["iso"] or 100)
    if not 0.1 <= iso <= 1e7:
        raise BadInput(f"'{text}': ISO {iso:g} is no film speed: {expected}.")
    ev100 = aperture_value(aperture) + time_value(time.nominal_s) - math.log2(iso / 100)
    return Reading(ev100, f"{time} at f/{aperture:g}, ISO {iso:g}: EV {round(ev100, 1) + 0.0:g} at ISO 100")


def aperture_value(f_mark: float) -> float:
    """Av of a marked aperture. Marks are rounded: f/5.6 stands for Av 5, f/11 for Av 7."""
    exact = 2.0 * math.log2(f_mark)
    third = round(3.0 * exact) / 3.0
    return third if abs(third - exact) <= NEAR_A_MARK else exact


def time_value(seconds: float) -> float:
    """Tv: how many halvings of a second."""
    return -math.log2(seconds)


def aperture_mark(av: float) -> float:
    """The marked aperture nearest to an Av, in thirds of a stop."""
    at = round((av - FIRST_MARK_AV) * 3.0)
    return THIRD_STOP_MARKS[min(max(at, 0), len(THIRD_STOP_MARKS) - 1)]


def nearest_mark(
    seconds: float,
    marks: tuple[ShutterTime, ...],
    exposes_s: Callable[[ShutterTime], float] = lambda mark: mark.nominal_s,
) -> ShutterTime:
    """The marked time that exposes nearest in stops to a wanted one; the usual dial where a body names no marks."""
    return min(marks or USUAL_MARKS, key=lambda mark: abs(math.log2(exposes_s(mark) / seconds)))


def filter_factor_stops(factor: float) -> float:
    """Stops that a filter factor takes: 2 -> 1, 4 -> 2, 8 -> 3."""
    return math.log2(factor)


def light_stops(fraction: float) -> float:
    """Stops gained (negative: lost) where only a fraction of the light goes on."""
    return math.log2(fraction)
