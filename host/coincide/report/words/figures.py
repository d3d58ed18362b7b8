"""Figures of planning as a person reads them: speeds, lengths, a subject."""

from __future__ import annotations

import math

from coincide.rig.model import Subject

KMH = 3.6
UM = 1e6
NO_LIMIT = "no limit"


def figure(value: float, digits: int = 2) -> str:
    """A number to so many significant digits, never with an exponent; 'no limit' where it is infinite."""
    if math.isinf(value):
        return NO_LIMIT
    if not math.isfinite(value):
        return "-"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))
    return f"{round(value, places):.{max(places, 0)}f}"


def plain(value: float) -> str:
    """A number that was given, as it was given: '15', '0.5', '1234'."""
    return f"{value:.6g}"


def speed(speed_m_s: float) -> str:
    """'4.2 m/s (15 km/h)'."""
    return f"{figure(speed_m_s)} m/s ({figure(speed_m_s * KMH)} km/h)"


def length(length_m: float) -> str:
    """'9.6 m', '54 mm', '30 um'."""
    if math.isinf(length_m):
        return NO_LIMIT
    for unit, size in (("m", 1.0), ("mm", 1e-3)):
        if length_m >= size or (unit == "m" and length_m >= 0.95):
            return f"{figure(length_m / size)} {unit}"
    return f"{figure(length_m * UM)} um"


def where(point: str) -> str:
    """'in frame centre', 'in the worst corner'."""
    return "in the worst corner" if point == "corner" else "in frame centre"


def subject_words(subject: Subject) -> str:
    """'a cyclist on the dyke, across at 4.2 m/s (15 km/h), 15 m away, in frame centre'."""
    return (
        f"{subject.name}, {subject.direction} at {speed(subject.speed_m_s)}, {plain(subject.distance_m)} m away, "
        f"{where(subject.point)}"
    )


def capital(text: str) -> str:
    """The text with its first letter large, to begin a sentence."""
    return text[:1].upper() + text[1:]
