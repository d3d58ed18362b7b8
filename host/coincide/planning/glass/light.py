"""What the faces of the glass do to light: Fresnel, ghosts in stops, polarisation.

Sources: Hecht, *Optics*, ch. 4.6 (Fresnel's equations), and Macleod, *Thin-Film Optical Filters*, ch. 2 (a film by its
admittance); both from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.optimize import brentq

# What a coat against reflections leaves at 45 degrees (common practice, no source).
ANTIREFLECTION = 0.005
# How polarised the light is: blue sky at right angles to the sun on a clear day (handbooks, memory: 0.7 to 0.8), and
# the glint of water near Brewster's angle (Fresnel: wholly).
SKY_POLARISED = 0.8
WATER_POLARISED = 1.0
HIGHEST_FILM_INDEX = 5.0  # beyond every transparent film; metal films are another matter


@dataclass(frozen=True, slots=True)
class Reflectances:
    """s: light that swings along the axis the glass is tilted about; p: across it. Fractions of the light."""

    s: float
    p: float

    @property
    def mean(self) -> float:
        """Of light that is not polarised."""
        return (self.s + self.p) / 2.0


def bare_face(index: float, incidence_rad: float) -> Reflectances:
    """What a bare face reflects (Fresnel), from outside or, the same, at the matching angle from inside."""
    cos_in, cos_out = _cosines(index, incidence_rad)
    s = (cos_in - index * cos_out) / (cos_in + index * cos_out)
    p = (index * cos_in - cos_out) / (index * cos_in + cos_out)
    return Reflectances(s * s, p * p)


def quarter_wave_film(film_index: float, glass_index: float, incidence_rad: float) -> Reflectances:
    """What one lossless film, a quarter wave thick at this angle, makes of the face (Macleod, ch. 2)."""
    sin_in = math.sin(incidence_rad)
    cos_in = math.cos(incidence_rad)
    found = []
    for along in (True, False):
        outside = cos_in if along else 1.0 / cos_in
        film = _admittance(film_index, sin_in, along=along)
        glass = _admittance(glass_index, sin_in, along=along)
        face = film * film / glass
        found.append(((outside - face) / (outside + face)) ** 2)
    return Reflectances(*found)


def film_that_reflects(
    reflection: float, glass_index: float, incidence_rad: float
) -> tuple[float, Reflectances] | None:
    """The index of the one film of high index that reflects so much unpolarised light, and its reflectances.

    None where one film of a transparent material cannot: less than bare glass, or more than the highest index gives.
    """

    def over(film_index: float) -> float:
        return quarter_wave_film(film_index, glass_index, incidence_rad).mean - reflection

    excess: Callable[[float], float] = over
    if excess(glass_index) > 0 or excess(HIGHEST_FILM_INDEX) < 0:
        return None
    index = float(brentq(excess, glass_index, HIGHEST_FILM_INDEX))
    return index, quarter_wave_film(index, glass_index, incidence_rad)


def transmitted_ghost_stops(coated: float, other: float) -> float:
    """How many stops below the picture its ghost is for the body that looks through: two reflections inside."""
    return _below(coated * other)


def reflected_ghost_stops(reflection: float, transmission: float, other: float, *, behind: bool) -> float:
    """The same for the body that sees the reflection. behind: the other face lies behind the coated one."""
    if behind:
        return _below(transmission**2 * other / reflection)
    return _below(other / ((1.0 - other) ** 2 * reflection))


@dataclass(frozen=True, slots=True)
class PolarisedPair:
    """How much lighter polarised light makes A's picture against B's than unpolarised light would, in stops.

    along_stops: light that swings along the glass's tilt axis; across_stops: across it.
    """

    polarised: float
    along_stops: float
    across_stops: float

    @property
    def worst_stops(self) -> float:
        return max(abs(self.along_stops), abs(self.across_stops))


def polarised_pair(reflect: Reflectances, polarised: float) -> PolarisedPair:
    """The transmitted picture against the reflected one, for light of which a part is polarised; no loss."""

    def against(swing: float, other: float) -> float:
        # A part `polarised` swings one way, the rest is half and half.
        return (1 + polarised) / 2 * swing + (1 - polarised) / 2 * other

    mean = math.log2((1 - reflect.mean) / reflect.mean)
    stops = []
    for swing, other in ((reflect.s, reflect.p), (reflect.p, reflect.s)):
        reflected = against(swing, other)
        stops.append(math.log2((1 - reflected) / reflected) - mean)
    return PolarisedPair(polarised, *stops)


def _admittance(index: float, sin_in: float, *, along: bool) -> float:
    through = math.sqrt(index * index - sin_in * sin_in)  # index times the cosine inside
    return through if along else index * index / through


def _cosines(index: float, incidence_rad: float) -> tuple[float, float]:
    """Of the angles outside and inside (Snell)."""
    return math.cos(incidence_rad), math.sqrt(1.0 - (math.sin(incidence_rad) / index) ** 2)


def _below(share: float) -> float:
    return math.inf if share <= 0 else -math.log2(share)
