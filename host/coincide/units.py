"""Quantities as people write them ('8 ms', '1/125', 'f/8', '35 mm', '4000 dpi', '5 km/h') into SI numbers.

Every function raises UnitError, a BadInput in one sentence that says what was found and what was expected.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Literal

from coincide.errors import BadInput

if TYPE_CHECKING:
    import pint

METRES_PER_INCH = 0.0254

Kind = Literal["time", "length", "speed", "angle", "rotation"]

# kind: the SI unit it comes out in, what a person would write
_KINDS: dict[str, tuple[str, str]] = {
    "time": ("s", "a time such as '8 ms' or '0.5 s'"),
    "length": ("m", "a length such as '35 mm' or '10 m'"),
    "speed": ("m/s", "a speed such as '5 km/h' or '1.4 m/s'"),
    "angle": ("rad", "an angle such as '10 deg'"),
    "rotation": ("rad/s", "a rate of turning such as '2 deg/s'"),
}
_PLAIN_NAMES = {
    "[time]": "a time",
    "[length]": "a length",
    "[length] / [time]": "a speed",
    "[mass]": "a mass",
    "dimensionless": "a plain number or an angle",
}
_QUANTITY = re.compile(r"([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d{1,3})?)\s*([A-Za-zµμ°/ ]{0,24}|[\"″'′])")
_PER_INCH = re.compile(
    r"(\d+(?:\.\d*)?)\s*(dpi|ppi|spi|(?:dots|pixels|px|samples)\s*(?:/|per)\s*(?:inch|in|cm))", re.IGNORECASE
)
_F_NUMBER = re.compile(r"(?:[fFƒ]\s*[/:]?|1\s*:)\s*(\d+(?:\.\d*)?|\.\d+)")
_FRACTION = re.compile(
    r"(\d{1,6})\s*/\s*(\d{1,6}(?:\.\d+)?)\s*(?:th)?\s*(?:of a second|s|sec|second|seconds)?"
)
_SECONDS_MARKED = re.compile(r"(\d{1,3})[\"″](\d)?")  # a dial's 2" and 0"5
_DECIMAL_COMMA = re.compile(
    r"(?<![\d.,])(\d+),(\d{1,2}|\d{4,})(?![\d.,])"
)  # '1,500' might be either: refused
_IN_SECONDS = re.compile(r"[\d.]+\s*(?:s|sec|second|seconds)?")
# What people write for units the library calls otherwise, by kind where it depends.
_WRITTEN = {"kmh": "km/h", '"': "inch", "″": "inch", "'": "foot", "′": "foot"}
# Units whose capitals mean something else to the library ('MS' a million siemens, 'Mm' a thousand kilometres),
# and never to a photographer.
_PLAIN_UNITS = ("ms", "s", "us", "min", "mm", "cm", "m", "km", "um", "km/h", "kmh", "mph", "m/s", "ft", "in")
_UNCERTAIN_EXPOSURES = {
    "auto": "an exposure set automatically has no known middle: set a marked time, such as '1/125'",
    "a": "an exposure set automatically has no known middle: set a marked time, such as '1/125'",
    "b": "bulb and time exposures are not timed here: set a marked time, such as '1/125'",
    "t": "bulb and time exposures are not timed here: set a marked time, such as '1/125'",
    "bulb": "bulb and time exposures are not timed here: set a marked time, such as '1/125'",
    "time": "bulb and time exposures are not timed here: set a marked time, such as '1/125'",
}
# Marks of the doubling series and the power of two they stand for. The marks are rounded, the times are
# not: ISO 516, from memory.
_MARKED_SERIES = (
    {Fraction(2) ** power: power for power in range(-3, 4)}
    | {
        Fraction(15): 4,
        Fraction(30): 5,
        Fraction(60): 6,
    }
    | {
        Fraction(1, mark): power
        for mark, power in (
            (15, -4),
            (30, -5),
            (60, -6),
            (125, -7),
            (250, -8),
            (500, -9),
            (1000, -10),
            (2000, -11),
            (4000, -12),
            (8000, -13),
        )
    }
)


class UnitError(BadInput, ValueError):
    """A quantity that could not be understood; also a ValueError, for validators."""


@dataclass(frozen=True, slots=True)
class ShutterTime:
    """A shutter time as it is marked on the dial, and the time it stands for.

    text: as marked, '1/125'. It names presets and calibrations, and is what the person reads and sets.
    marked_s: the mark taken at its word, 8 ms. Only printed.
    nominal_s: what the mark stands for: 2**-7 s = 7.8125 ms for '1/125', since the marks of the doubling
        series 1/8000 ... 60 s are rounded (ISO 516, memory); marks of no such series stand for themselves.
        Every calculation uses it until an exposure has been measured.
    """

    text: str
    marked_s: float
    nominal_s: float

    def __str__(self) -> str:
        return self.text


def shutter_time(text: str) -> ShutterTime:
    """Read a shutter time: '1/125', '1/125 s', '0.5 s', '2 s', '8 ms'."""
    written = text.strip()
    refusal = _UNCERTAIN_EXPOSURES.get(written.lower())
    if refusal is not None:
        raise UnitError(f"'{text}': {refusal}.")
    dial = _SECONDS_MARKED.fullmatch(written)
    if dial is not None:
        written = f"{dial[1]}.{dial[2]} s" if dial[2] else f"{dial[1]} s"
    fraction = _FRACTION.fullmatch(written)
    if fraction is not None:
        over, under = fraction.groups()
        if float(over) == 0 or float(under) == 0:
            raise UnitError(f"'{text}' is no shutter time: one such as '1/125' was expected.")
        exact = Fraction(over) / Fraction(under)
        canonical = f"{over}/{under}"
    else:
        try:
            seconds = quantity(written, "time")
        except UnitError:
            raise UnitError(
                f"'{text}' is no shutter time: one such as '1/125', '0.5 s' or '8 ms' was expected."
            ) from None
        exact = Fraction(seconds).limit_denominator(10**9)
        canonical = " ".join(_point(written).split())
    if exact <= 0:
        raise UnitError(f"'{text}' is no shutter time: one such as '1/125' was expected.")
    marked_s = float(exact)
    # Only what is marked as a fraction or in whole or half seconds belongs to the series; '8 ms' is measured.
    in_series = exact in _MARKED_SERIES and (fraction is not None or bool(_IN_SECONDS.fullmatch(canonical)))
    return ShutterTime(canonical, marked_s, 2.0 ** _MARKED_SERIES[exact] if in_series else marked_s)


def quantity(text: str, kind: Kind) -> float:
    """Read a number with a unit, as seconds, metres, metres per second, radians or radians per second.

    A time may be a fraction, '1/250', and is then taken at its word: 4 ms.
    """
    si, expected = _KINDS[kind]
    written = _point(text.strip())
    fraction = _FRACTION.fullmatch(written) if kind == "time" else None
    if fraction is not None and float(fraction[2]) > 0:
        return float(Fraction(fraction[1]) / Fraction(fraction[2]))
    found = _QUANTITY.fullmatch(written)
    if found is None:
        raise UnitError(f"'{text}' is not understood: {expected} was expected.")
    number, unit = float(found[1]), found[2].strip()
    if not unit:
        raise UnitError(f"'{text}' has no unit: {expected} was expected.")
    factor, dimensions_found = _unit(_named(unit, kind), si)
    if dimensions_found is None:
        raise UnitError(f"'{text}': the unit '{unit}' is not known: {expected} was expected.")
    if factor is None:
        name = _PLAIN_NAMES.get(dimensions_found, "something else")
        raise UnitError(f"'{text}' is {name}: {expected} was expected.")
    # 36 * 0.001 is 0.036000000000000004 in binary; the person wrote 0.036.
    result = float(f"{number * factor:.15g}")
    if not math.isfinite(result):
        raise UnitError(f"'{text}' is not finite: {expected} was expected.")
    return result


def scan_pitch_m(text: str) -> float:
    """Read a scan resolution, '4000 dpi', or the size of a pixel, '6.35 um', as metres per pixel."""
    per_inch = _PER_INCH.fullmatch(_point(text.strip()))
    expected = "a scan resolution such as '4000 dpi' was expected"
    if per_inch is None:
        try:
            pitch_m = quantity(text, "length")
        except UnitError:
            raise UnitError(f"'{text}' is not understood: {expected}.") from None
    else:
        dots = float(per_inch[1])
        if dots <= 0:
            raise UnitError(f"'{text}' has no pixels: {expected}.")
        pitch_m = (0.01 if per_inch[2].lower().endswith("cm") else METRES_PER_INCH) / dots
    if pitch_m <= 0:
        raise UnitError(f"'{text}' has no size: {expected}.")
    return pitch_m


def f_number(text: str) -> float:
    """Read an aperture as marked: 'f/8', 'f8', 'F5.6', '1:2.8'."""
    found = _F_NUMBER.fullmatch(_point(text.strip()))
    if found is None or float(found[1]) <= 0:
        raise UnitError(f"'{text}' is no aperture: one such as 'f/8' was expected.")
    return float(found[1])


def _point(text: str) -> str:
    """'1,5 mm' as '1.5 mm'. '1,500' stays, and is refused: it means two things."""
    return _DECIMAL_COMMA.sub(r"\1.\2", text)


def _named(unit: str, kind: Kind) -> str:
    """The unit as the library calls it."""
    if unit.casefold() in _PLAIN_UNITS:
        unit = unit.casefold()
    if unit in "\"″'′" and kind != "length":
        return unit
    return _WRITTEN.get(unit, unit).replace("°", "deg")


@cache
def _unit(unit: str, si: str) -> tuple[float | None, str | None]:
    """One of the unit in the SI unit, None if of another kind; and its dimensions, None if unknown."""
    import pint

    registry = _registry()
    try:
        one = registry.Quantity(1.0, registry.parse_units(unit))
        dimensions = str(one.dimensionality)
    except (pint.PintError, AssertionError, ValueError, TypeError, AttributeError):
        return None, None
    try:
        return float(one.to(si).magnitude), dimensions
    except pint.DimensionalityError:
        return None, dimensions


@cache
def _registry() -> pint.UnitRegistry[float]:
    """Made on first use: it takes a third of a second, which `--help` should not wait for."""
    import pint

    return pint.UnitRegistry()
