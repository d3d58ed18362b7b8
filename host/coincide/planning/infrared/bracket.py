"""A bracket for the body with infrared film that changes no shutter time that has no preset.

A preset belongs to a pair of shutter times (and to the apertures, where blades in the lens are the shutter). So the
light is changed by the aperture, or by a grey filter, or by another pair of times that has a preset of its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from coincide.planning.exposure.light import stale_at_its_aperture
from coincide.rig.calibration import Calibration, Found, preset_name
from coincide.rig.model import Body, Rig
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.stops import THIRD_STOP_MARKS, aperture_value
from coincide.rig.parts import Leaf
from coincide.units import shutter_time

How = Literal["as set", "aperture", "filter", "another pair", "none"]
CLOSE_STOPS = 0.1  # marks are rounded
REST_STOPS = 0.34  # a third of a stop may be left over, and is said


@dataclass(frozen=True, slots=True)
class Setting:
    """One body in one pair of the bracket. filter_stops: of grey filter to put on, besides what is on it."""

    exposure: str
    aperture: float
    filter_stops: float = 0.0


@dataclass(frozen=True, slots=True)
class BracketPair:
    """One pair of the bracket. stops: more light (negative: less) for the infrared body; settings: of A and B, None
    where there is no way; preset: the pair's name, calibration: the file that holds it, or None; stale: why that no
    longer holds, empty when it does."""

    stops: float
    how: How
    settings: tuple[Setting, Setting] | None
    preset: str
    calibration: str | None
    note: str
    stale: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Bracket:
    """The plan, in the order to expose it; the pair as set comes first."""

    body: int
    pairs: tuple[BracketPair, ...]

    @property
    def complete(self) -> bool:
        """Every pair can be taken, with a preset that is there and holds."""
        return all(
            pair.settings is not None and pair.calibration is not None and not pair.stale
            for pair in self.pairs
        )


def bracket(
    rig: Rig, body: int, found: Iterable[Found], *, each_way: int = 2, step_stops: float = 1.0
) -> Bracket:
    """Pairs at 0, +step, -step, +2 steps ... for the infrared body (0 = A, 1 = B); the other one keeps its light.

    The other body's exposure is right already: its meter sees what its film sees.
    """
    everything = tuple(found)
    wanted = [0.0]
    for count in range(1, each_way + 1):
        wanted += [count * step_stops, -count * step_stops]
    return Bracket(body, tuple(_pair(rig, body, everything, stops) for stops in wanted))


def _pair(rig: Rig, body: int, found: tuple[Found, ...], stops: float) -> BracketPair:
    ways = (*_as_set(rig, stops), *_apertures(rig, body, stops), *_filters(rig, body, stops))
    first = [_with_preset(rig, stops, way, found) for way in ways]
    kept = [pair for pair in first if pair.calibration is not None] + list(
        _other_pairs(rig, body, found, stops)
    )
    chosen = next((pair for pair in kept if not pair.stale), next(iter(kept), None))
    if chosen is not None:
        return chosen
    if first:
        return first[0]
    return BracketPair(
        stops,
        "none",
        None,
        preset_name(rig.exposures),
        None,
        "neither aperture nor filter nor a pair with a preset",
    )


_Way = tuple[How, tuple[Setting, Setting], str]


def _as_set(rig: Rig, stops: float) -> Iterator[_Way]:
    if stops == 0:
        first, second = (Setting(one.shutter.exposure.text, one.lens.aperture) for one in rig.both)
        yield "as set", (first, second), ""


def _apertures(rig: Rig, body: int, stops: float) -> Iterator[_Way]:
    one = rig.both[body]
    aperture = _opened(one, stops)
    if stops and aperture is not None:
        note = ""
        if isinstance(one.shutter, Leaf):
            note = "blades in the lens: the aperture moves the middle of the exposure"
        yield "aperture", _changed(rig, body, Setting(one.shutter.exposure.text, aperture)), note


def _filters(rig: Rig, body: int, stops: float) -> Iterator[_Way]:
    one = rig.both[body]
    if stops < 0:
        setting = Setting(one.shutter.exposure.text, one.lens.aperture, -stops)
        yield "filter", _changed(rig, body, setting), "a grey filter that is grey in the infrared too"


def _with_preset(rig: Rig, stops: float, way: _Way, found: tuple[Found, ...]) -> BracketPair:
    how, settings, note = way
    exposures = (settings[0].exposure, settings[1].exposure)
    apertures = (settings[0].aperture, settings[1].aperture)
    kept = next((one for one in found if _holds(rig, one.calibration, exposures, apertures)), None)
    name = None if kept is None else kept.path.name
    stale = () if kept is None else stale_at_its_aperture(kept.calibration, rig)
    return BracketPair(stops, how, settings, preset_name(exposures), name, note, stale)


def _other_pairs(rig: Rig, body: int, found: tuple[Found, ...], stops: float) -> Iterator[BracketPair]:
    """Pairs of times that have a preset, the rest by the apertures of both; the nearest to what is wanted first."""
    choices: list[tuple[float, BracketPair]] = []
    for one in found:
        exposures = one.calibration.exposures
        if exposures == rig.exposures:
            continue
        settings = [
            _at_time(rig.both[index], exposures[index], stops if index == body else 0.0) for index in (0, 1)
        ]
        if settings[0] is None or settings[1] is None:
            continue
        (first, rest_a), (second, rest_b) = settings[0], settings[1]
        pair = (first, second)
        if not _holds(rig, one.calibration, exposures, (first.aperture, second.aperture)):
            continue
        moved = sum(
            abs(aperture_value(setting.aperture) - aperture_value(was.lens.aperture))
            for setting, was in zip(pair, rig.both, strict=True)
        )
        rest = max(abs(rest_a), abs(rest_b))
        note = f"{rest:.1f} stop left over" if rest > CLOSE_STOPS else ""
        choices.append(
            (
                moved,
                BracketPair(
                    stops,
                    "another pair",
                    pair,
                    one.calibration.preset,
                    one.path.name,
                    note,
                    stale_at_its_aperture(one.calibration, rig),
                ),
            )
        )
    yield from (pair for _, pair in sorted(choices, key=lambda choice: choice[0]))


def _at_time(body: Body, exposure: str, stops: float) -> tuple[Setting, float] | None:
    """The body at another shutter time, its aperture making up for it; and what is left over, in stops."""
    mark = _nearest(body, exposure, stops)
    rest = _gained(body, exposure, mark) - stops
    return None if abs(rest) > REST_STOPS else (Setting(exposure, mark), rest)


def _opened(body: Body, stops: float) -> float | None:
    """The mark so many stops wider; None beyond the lens's range."""
    found = _at_time(body, body.shutter.exposure.text, stops)
    return None if found is None else found[0].aperture


def _nearest(body: Body, exposure: str, stops: float) -> float:
    """The aperture in the lens's range that gives the light nearest to so many stops more."""
    marks = [mark for mark in (*THIRD_STOP_MARKS, body.lens.aperture) if _in_range(body, mark)]
    return min(marks, key=lambda mark: abs(_gained(body, exposure, mark) - stops))


def _gained(body: Body, exposure: str, aperture: float) -> float:
    """Stops of light more than as set; blades in the lens that are stopped down expose longer."""
    exposed = effective_exposure_s(body, shutter_time(exposure), aperture) / effective_exposure_s(body)
    return math.log2(exposed) + aperture_value(body.lens.aperture) - aperture_value(aperture)


def _in_range(body: Body, mark: float) -> bool:
    return body.lens.widest * 0.999 <= mark <= body.lens.smallest * 1.001


def _changed(rig: Rig, body: int, setting: Setting) -> tuple[Setting, Setting]:
    other = rig.both[1 - body]
    stays = Setting(other.shutter.exposure.text, other.lens.aperture)
    return (setting, stays) if body == 0 else (stays, setting)


def _holds(
    rig: Rig, calibration: Calibration, exposures: tuple[str, str], apertures: tuple[float, float]
) -> bool:
    """Whether a calibration is of this pair of times, and of these apertures where blades are the shutter."""
    if calibration.exposures != exposures:
        return False
    return all(
        not isinstance(body.shutter, Leaf) or abs(aperture_value(was) - aperture_value(now)) <= CLOSE_STOPS
        for body, was, now in zip(rig.both, calibration.apertures, apertures, strict=True)
    )
