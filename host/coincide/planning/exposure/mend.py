"""What brings an exposure back within the film's latitude: another aperture, a grey filter, or more light."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coincide.planning.exposure.body import BodyExposure, body_exposure
from coincide.rig.model import Rig
from coincide.rig.optics.stops import THIRD_STOP_MARKS, Reading, aperture_value
from coincide.rig.parts import Leaf, Lens

FILTERS_MOST_STOPS = 20


@dataclass(frozen=True, slots=True)
class Mend:
    """What to do. aperture: to set, or None; filter_stops: of grey filter to add, 0 where none helps. then: what is
    reached, None where neither aperture nor filter reaches it. say: a sentence."""

    aperture: float | None
    filter_stops: int
    then: BodyExposure | None
    say: str


def mend(rig: Rig, index: int, reading: Reading, body: BodyExposure) -> Mend:
    """How to mend an exposure that misses its latitude: the nearest aperture that does, reckoned anew with its own
    shutter time; else a filter where there is too much light; else how much light is missing."""
    tried = [body_exposure(rig, index, reading, aperture) for aperture in _apertures(rig.both[index].lens)]
    within = [one for one in tried if one.within]
    if within:
        return _by_aperture(rig, index, body, min(within, key=lambda one: _moved(one, body)))
    if body.error_stops > 0:
        for stops in range(1, FILTERS_MOST_STOPS + 1):
            then = body_exposure(rig, index, Reading(reading.ev100 - stops, reading.said), body.aperture)
            if then.within:
                say = f"Put a grey filter of {_stops(stops)} on {body.name} and set {then.mark}."
                return Mend(None, stops, then, say)
    best = min(tried, key=lambda one: abs(one.error_stops))
    word = "more" if body.error_stops < 0 else "less"
    say = (
        f"No aperture of its lens mends that: at f/{best.aperture:g} and {best.mark} it still wants "
        f"{abs(best.error_stops):.1f} stops {word} light."
    )
    return Mend(None, 0, None, say)


def _by_aperture(rig: Rig, index: int, body: BodyExposure, then: BodyExposure) -> Mend:
    verb = "Open" if then.aperture < body.aperture else "Stop"
    down = "" if verb == "Open" else " down"
    say = f"{verb} {body.name}{down} to f/{then.aperture:g} and set {then.mark}."
    if isinstance(rig.both[index].shutter, Leaf):
        say += " Blades in the lens: that aperture wants a calibration of its own."
    return Mend(then.aperture, 0, then, say)


def _apertures(lens: Lens) -> list[float]:
    """Both ends of the lens's range and the third stops between."""
    between = [mark for mark in THIRD_STOP_MARKS if lens.widest < mark < lens.smallest]
    return [lens.widest, *between, lens.smallest]


def _moved(one: BodyExposure, body: BodyExposure) -> tuple[float, float]:
    by = abs(aperture_value(one.aperture) - aperture_value(body.aperture))
    return math.floor(3 * by + 0.5), abs(one.error_stops)


def _stops(count: int) -> str:
    return "1 stop" if count == 1 else f"{count} stops"
