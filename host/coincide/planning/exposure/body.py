"""One body: the stops between the reading and its film, and what to set."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.planning.exposure.reciprocity import metered_for, with_reciprocity
from coincide.rig.calibration import BODY_LETTERS
from coincide.rig.film import Film, Latitude
from coincide.rig.model import Rig
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.stops import Reading, aperture_value, light_stops, nearest_mark
from coincide.rig.optics.thin_lens import depth_of_field_m, from_focusing_scale_m, magnification
from coincide.rig.optics.tolerance import on_film_tolerance_m
from coincide.units import ShutterTime

BELLOWS_LEAST_STOPS = 0.01  # less than an aperture is marked to: left out
USUAL_DISTANCE_M = 10.0  # for depth of field, where the rig says neither focus nor subject


@dataclass(frozen=True, slots=True)
class StopStep:
    """One reason why a body needs more or less light than the reading. stops: negative where it loses light."""

    name: str
    stops: float
    source: str


@dataclass(frozen=True, slots=True)
class BodyExposure:
    """What to set on one body.

    steps: from the ISO 100 reading to this film, in stops. metered_s: by the sum of them; needed_s: with the
    film's reciprocity; mark: what to set; effective_s: how long that exposes the film, longer than marked for blades
    in the lens that are stopped down. error_stops: how far that is off, positive over-exposes; error_thirds: the same
    in thirds. latitude: how far it may be. sharp_m: nearest and farthest sharp distance.
    """

    name: str
    aperture: float
    steps: tuple[StopStep, ...]
    metered_s: float
    needed_s: float
    mark: ShutterTime
    effective_s: float
    error_stops: float
    latitude: Latitude
    sharp_m: tuple[float, float]

    @property
    def error_thirds(self) -> int:
        return round(3 * self.error_stops)

    @property
    def stops(self) -> float:
        return sum(step.stops for step in self.steps)

    @property
    def grown_stops(self) -> float:
        """What stopping down adds to the marked time of blades in the lens; 0 for every other shutter."""
        return math.log2(self.effective_s / self.mark.nominal_s)

    @property
    def within(self) -> bool:
        """Within the film's latitude."""
        return self.latitude.holds(self.error_stops)


def body_exposure(
    rig: Rig, index: int, reading: Reading, aperture: float, mark: ShutterTime | None = None
) -> BodyExposure:
    """Body 0 = A, 1 = B at an aperture: with the time of its dial that comes nearest, or with the time given.
    Raises BadInput where the rig names no film, or the glass leaves no light."""
    body, film = rig.both[index], _film(rig, index)
    steps = light_steps(rig, index)
    metered_s = 2.0 ** (aperture_value(aperture) - reading.ev100 - sum(step.stops for step in steps))
    needed_s = with_reciprocity(film, metered_s)

    def exposes_s(time: ShutterTime) -> float:
        return effective_exposure_s(body, time, aperture)

    if mark is None:
        mark = nearest_mark(needed_s, body.shutter.marked, exposes_s)
    return BodyExposure(
        name=body.name,
        aperture=aperture,
        steps=steps,
        metered_s=metered_s,
        needed_s=needed_s,
        mark=mark,
        effective_s=exposes_s(mark),
        error_stops=math.log2(exposes_s(mark) / needed_s),
        latitude=film.latitude,
        sharp_m=_sharp_m(rig, index, aperture),
    )


def right_ev100(rig: Rig, index: int, mark: ShutterTime, aperture: float) -> tuple[float, float]:
    """The lowest and highest reading for which a setting is within the film's latitude, EV at ISO 100.
    Raises BadInput as `body_exposure` does."""
    film = _film(rig, index)
    value = aperture_value(aperture) - sum(step.stops for step in light_steps(rig, index))
    effective_s = effective_exposure_s(rig.both[index], mark, aperture)
    low, high = (
        value - math.log2(metered_for(film, effective_s * 2.0**stops))
        for stops in (film.latitude.under_stops, -film.latitude.over_stops)
    )
    return low, high


def light_steps(rig: Rig, index: int) -> tuple[StopStep, ...]:
    """Film, filter, glass and bellows of a body, in the order in which they are added up by hand."""
    letter, film = BODY_LETTERS[index], _film(rig, index)
    steps = [*_film_steps(film, f"bodies.{letter}.film")]
    fraction, key = splitter_light(rig, index, film.band)
    if fraction <= 0:
        raise BadInput(f"{key} is 0: body {letter.upper()} gets no light, and no exposure will do.")
    if rig.splitter is not None and not film.index_includes_glass:
        name = f"{key.rsplit('.', 1)[1]} of {fraction:.0%} in the {film.band} band"
        steps.append(StopStep(name, light_stops(fraction), key))
    return (*steps, *_bellows(rig, index))


def splitter_light(rig: Rig, index: int, band: str) -> tuple[float, str]:
    """The part of the light that a body (0 = A, 1 = B) gets in a band, and the key that says so."""
    if rig.splitter is None:
        return 1.0, "no splitter"
    way = (rig.splitter.a, rig.splitter.b)[index]
    figure = "transmission" if way == "transmitted" else "reflection"
    return float(getattr(rig.splitter.bands[band], figure)), f"splitter.bands.{band}.{figure}"


def focused_at(rig: Rig, index: int) -> tuple[float, str] | None:
    """Where a lens is focused, from its front principal plane, and the key that says so; None where none does."""
    lens = rig.both[index].lens
    if lens.focused_m is not None:
        distance_m = from_focusing_scale_m(lens.focused_m, lens.focal_length_m)
        return distance_m, f"bodies.{BODY_LETTERS[index]}.lens.focused"
    if rig.tolerance.subject is not None:
        return rig.tolerance.subject.distance_m, "tolerance.subject.distance"
    return None


def _film(rig: Rig, index: int) -> Film:
    film = rig.both[index].film
    if film is None:
        raise BadInput(
            f"bodies.{BODY_LETTERS[index]}.film is missing: its 'iso' is needed to pair the exposures."
        )
    return film


def _film_steps(film: Film, key: str) -> Iterable[StopStep]:
    if film.effective_index is not None:
        behind = "filter and glass" if film.index_includes_glass else "the filter"
        stops = math.log2(film.effective_index / 100)
        yield StopStep(f"index {film.effective_index:g} behind {behind}", stops, f"{key}.effective_index")
        return
    yield StopStep(f"film of ISO {film.iso:g} against ISO 100", math.log2(film.iso / 100), f"{key}.iso")
    if film.filter_stops:
        yield StopStep(f"filter of {film.filter_stops:g} stops", -film.filter_stops, f"{key}.filter_stops")


def _bellows(rig: Rig, index: int) -> Iterable[StopStep]:
    """A lens drawn out to focus near spreads its light: (1 + m/p)^2 with the magnification m and that of the pupils,
    p (handbooks of photography, from memory)."""
    lens, focus = rig.both[index].lens, focused_at(rig, index)
    if focus is None or math.isinf(focus[0]):
        return
    drawn = magnification(lens.focal_length_m, focus[0]) / lens.pupil_magnification
    stops = 2.0 * math.log2(1.0 + drawn)
    if stops >= BELLOWS_LEAST_STOPS:
        yield StopStep(f"lens drawn out to focus at {focus[0]:.3g} m", -stops, focus[1])


def _sharp_m(rig: Rig, index: int, aperture: float) -> tuple[float, float]:
    focus = focused_at(rig, index)
    distance_m = USUAL_DISTANCE_M if focus is None else focus[0]
    focal_m = rig.both[index].lens.focal_length_m
    return depth_of_field_m(focal_m, aperture, on_film_tolerance_m(rig, index), distance_m)
