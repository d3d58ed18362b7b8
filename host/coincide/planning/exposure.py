"""One meter reading, two bodies: what to set on each, what it costs, and what is doubtful about it."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.rig.calibration import BODY_LETTERS, Found, preset_name
from coincide.rig.model import Body, Rig
from coincide.rig.optics import circle_of_confusion_m, depth_of_field_m, from_focusing_scale_m
from coincide.rig.parts import Film, FocalPlane, Leaf
from coincide.rig.stops import Reading, aperture_mark, aperture_value, light_stops, nearest_mark
from coincide.rig.trace import Link
from coincide.units import ShutterTime

FULL_FRAME_DIAGONAL_M = 0.04327
REACH_STOPS = 0.5  # a wanted time this far beyond the dial cannot be set
WORTH_SAYING_STOPS = 2.0
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
    film's reciprocity; mark: what to set; error_stops: how far that is off, positive over-exposes;
    error_thirds: the same in thirds. sharp_m: nearest and farthest sharp distance.
    """

    name: str
    aperture: float
    steps: tuple[StopStep, ...]
    metered_s: float
    needed_s: float
    mark: ShutterTime
    error_stops: float
    sharp_m: tuple[float, float]

    @property
    def error_thirds(self) -> int:
        return round(3 * self.error_stops)

    @property
    def stops(self) -> float:
        return sum(step.stops for step in self.steps)


@dataclass(frozen=True, slots=True)
class Opening:
    """What opening the slower body's aperture would do: its settings, the blur left, and the cost in a sentence."""

    body: int
    aperture: float
    mark: ShutterTime
    blur_each_end_s: float
    say: str


@dataclass(frozen=True, slots=True)
class Pairing:
    """Both bodies for one reading.

    apart_stops: how much longer B is exposed than A (negative: shorter). blur_each_end_s: what that leaves of
    blur at each end of whatever moves, |tA - tB|/2. preset: name of the pair; calibration: the file that holds
    its offset, or None. why: the sums in sentences, the field's rule of thumb among them.
    """

    reading: Reading
    bodies: tuple[BodyExposure, BodyExposure]
    apart_stops: float
    blur_each_end_s: float
    preset: str
    calibration: str | None
    opening: Opening | None
    why: tuple[str, ...]
    warnings: tuple[str, ...]


def pair_exposures(
    rig: Rig,
    reading: Reading,
    *,
    apertures: tuple[float | None, float | None] = (None, None),
    found: Iterable[Found] = (),
) -> Pairing:
    """Settings of both bodies from one reading. `apertures`: as marked; None takes body A's as it is set, for
    both, so that the depth of field is the same. Raises BadInput where the rig names no film."""
    chosen = _apertures(rig, apertures)
    first, second = (_body_exposure(rig, index, reading, chosen[index]) for index in (0, 1))
    bodies = (first, second)
    exposures = (first.mark.text, second.mark.text)
    calibration = next((one.path.name for one in found if one.calibration.exposures == exposures), None)
    opening = _opening(rig, reading, bodies)
    return Pairing(
        reading=reading,
        bodies=bodies,
        apart_stops=math.log2(second.mark.nominal_s / first.mark.nominal_s),
        blur_each_end_s=blur_each_end_s(first.mark.nominal_s, second.mark.nominal_s),
        preset=preset_name(exposures),
        calibration=calibration,
        opening=opening,
        why=tuple(_why(body) for body in bodies),
        warnings=tuple(_warnings(rig, bodies, exposures, calibration)),
    )


def pairing_chain(pairing: Pairing) -> tuple[Link, ...]:
    """Where every figure of a pairing comes from."""
    links = [Link("reading", pairing.reading.ev100, "EV at ISO 100", f"given: {pairing.reading.said}")]
    for body in pairing.bodies:
        links += [
            Link(f"{body.name}: {step.name}", step.stops, "stops", f"rig: {step.source}")
            for step in body.steps
        ]
        links += [
            Link(f"{body.name}: metered time", body.metered_s, "s", "computed: 2^(Av - EV - stops)"),
            Link(f"{body.name}: needed time", body.needed_s, "s", "computed: the film's reciprocity"),
            Link(f"{body.name}: set", body.mark.nominal_s, "s", f"computed: nearest mark, {body.mark}"),
        ]
    links.append(Link("blur at each end", pairing.blur_each_end_s * 1e3, "ms", "computed: |tA - tB| / 2"))
    return tuple(links)


def blur_each_end_s(first_s: float, second_s: float) -> float:
    """Two exposures centred on each other: how long one goes on alone, before and again after the other."""
    return abs(first_s - second_s) / 2.0


def splitter_light(rig: Rig, index: int, band: str) -> tuple[float, str]:
    """The part of the light that a body (0 = A, 1 = B) gets in a band, and the key that says so."""
    if rig.splitter is None:
        return 1.0, "no splitter"
    way = (rig.splitter.a, rig.splitter.b)[index]
    figure = "transmission" if way == "transmitted" else "reflection"
    return float(getattr(rig.splitter.bands[band], figure)), f"splitter.bands.{band}.{figure}"


def with_reciprocity(film: Film, metered_s: float) -> float:
    """The time a film needs where the meter says metered_s; a table is read between its points in stops."""
    law = film.reciprocity
    if law is None:
        return metered_s
    if law.power is not None:
        return metered_s if metered_s <= law.from_s else law.from_s * (metered_s / law.from_s) ** law.power
    points = [(math.log(metered), math.log(needed)) for metered, needed in law.table]
    at = math.log(metered_s)
    if at <= points[0][0]:
        # Below the table the need comes down to the metered time a decade before its first point.
        start = points[0][0] - math.log(10.0)
        points.insert(0, (start, start))
        if at <= start:
            return metered_s
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        if at <= x1:
            return math.exp(y0 + (y1 - y0) * (at - x0) / (x1 - x0))
    if len(points) < 2:
        return metered_s
    (x0, y0), (x1, y1) = points[-2:]
    return math.exp(y1 + (y1 - y0) / (x1 - x0) * (at - x1))


def _apertures(rig: Rig, asked: tuple[float | None, float | None]) -> tuple[float, float]:
    common = rig.bodies.a.lens.aperture
    chosen = []
    for letter, body, wanted in zip(BODY_LETTERS, rig.both, asked, strict=True):
        lens = body.lens
        if wanted is not None and not lens.widest <= wanted <= lens.smallest:
            raise BadInput(
                f"f/{wanted:g} is outside the range of body {letter.upper()}'s lens, f/{lens.widest:g} to "
                f"f/{lens.smallest:g} (bodies.{letter}.lens)."
            )
        chosen.append(min(max(common, lens.widest), lens.smallest) if wanted is None else wanted)
    return (chosen[0], chosen[1])


def _body_exposure(rig: Rig, index: int, reading: Reading, aperture: float) -> BodyExposure:
    letter, body = BODY_LETTERS[index], rig.both[index]
    film = body.film
    if film is None:
        raise BadInput(f"bodies.{letter}.film is missing: its 'iso' is needed to pair the exposures.")
    steps = [*_film_steps(film, f"bodies.{letter}.film")]
    fraction, key = splitter_light(rig, index, film.band)
    if fraction <= 0:
        raise BadInput(f"{key} is 0: body {letter.upper()} gets no light, and no exposure will do.")
    if rig.splitter is not None:
        name = key.rsplit(".", 1)[1]
        steps.append(
            StopStep(f"{name} of {fraction:.0%} in the {film.band} band", light_stops(fraction), key)
        )
    metered_s = 2.0 ** (aperture_value(aperture) - reading.ev100 - sum(step.stops for step in steps))
    needed_s = with_reciprocity(film, metered_s)
    mark = nearest_mark(needed_s, body.shutter.marked)
    return BodyExposure(
        name=body.name,
        aperture=aperture,
        steps=tuple(steps),
        metered_s=metered_s,
        needed_s=needed_s,
        mark=mark,
        error_stops=math.log2(mark.nominal_s / needed_s),
        sharp_m=_sharp_m(body, aperture, rig),
    )


def _film_steps(film: Film, key: str) -> Iterable[StopStep]:
    if film.effective_index is not None:
        stops = math.log2(film.effective_index / 100)
        yield StopStep(f"index {film.effective_index:g} behind the filter", stops, f"{key}.effective_index")
        return
    yield StopStep(f"film of ISO {film.iso:g} against ISO 100", math.log2(film.iso / 100), f"{key}.iso")
    if film.filter_stops:
        yield StopStep(f"filter of {film.filter_stops:g} stops", -film.filter_stops, f"{key}.filter_stops")


def _sharp_m(body: Body, aperture: float, rig: Rig) -> tuple[float, float]:
    lens = body.lens
    if lens.focused_m is not None:
        distance_m = from_focusing_scale_m(lens.focused_m, lens.focal_length_m)
    elif rig.tolerance.subject is not None:
        distance_m = rig.tolerance.subject.distance_m
    else:
        distance_m = USUAL_DISTANCE_M
    confusion_m = circle_of_confusion_m(body.frame.diagonal_m)
    return depth_of_field_m(lens.focal_length_m, aperture, confusion_m, distance_m)


def _opening(rig: Rig, reading: Reading, bodies: tuple[BodyExposure, BodyExposure]) -> Opening | None:
    """The slower body opened until both times agree, or as far as its lens goes; None where it brings nothing."""
    slower = 0 if bodies[0].mark.nominal_s > bodies[1].mark.nominal_s else 1
    slow, fast = bodies[slower], bodies[1 - slower]
    apart = math.log2(slow.mark.nominal_s / fast.mark.nominal_s)
    av = aperture_value(slow.aperture)
    can = av - aperture_value(rig.both[slower].lens.widest)
    by = math.floor(3 * min(apart, can) + 1e-6) / 3
    if apart < 1 - 1e-6 or by < 1 / 3:
        return None
    aperture = max(aperture_mark(av - by), rig.both[slower].lens.widest)
    then = _body_exposure(rig, slower, reading, aperture)
    left_s = blur_each_end_s(then.mark.nominal_s, fast.mark.nominal_s)
    now_s = blur_each_end_s(slow.mark.nominal_s, fast.mark.nominal_s)
    if left_s >= now_s:
        return None
    say = (
        f"Open {slow.name} from f/{slow.aperture:g} to f/{aperture:g} and set {then.mark}: {_ms(now_s)} of blur at "
        f"each end becomes {_ms(left_s)}. It costs depth of field: {_range(slow.sharp_m)} becomes "
        f"{_range(then.sharp_m)}."
    )
    return Opening(slower, aperture, then.mark, left_s, say)


def _why(body: BodyExposure) -> str:
    """The sum in words, with what the field makes of it: 'two stops for the glass, then two more'."""
    if not body.steps:
        return f"{body.name}: the reading as it is."
    parts = ", ".join(f"{step.name} {step.stops:+.2f}" for step in body.steps)
    say = f"{body.name}: {parts}; {body.stops:+.2f} stops from the ISO 100 reading in all."
    film = sum(step.stops for step in body.steps if ".film." in step.source)
    glass = sum(step.stops for step in body.steps if step.source.startswith("splitter."))
    filtered = any(step.source.endswith(("filter_stops", "effective_index")) for step in body.steps)
    if filtered and round(glass) <= -1 and round(film) <= -1:
        say += (
            f" In the field: open {_count(-glass)} for the glass, then {_count(-film)} more for the film behind its "
            f"filter; the rounding is {body.stops - round(glass) - round(film):+.2f} stop."
        )
    return say


def _warnings(
    rig: Rig, bodies: tuple[BodyExposure, BodyExposure], exposures: tuple[str, str], calibration: str | None
) -> Iterable[str]:
    if calibration is None:
        yield (
            f"There is no calibration for {preset_name(exposures)}: another pair of shutter times has another offset; "
            "set these times in the rig and run 'coincide calibrate'."
        )
    blur_s = blur_each_end_s(bodies[0].mark.nominal_s, bodies[1].mark.nominal_s)
    apart = math.log2(bodies[0].mark.nominal_s / bodies[1].mark.nominal_s)
    if abs(apart) >= WORTH_SAYING_STOPS - 1e-6:
        slower = bodies[0] if apart > 0 else bodies[1]
        yield (
            f"{slower.name} exposes {abs(apart):.0f} stops longer and blurs more: with the middles together, "
            f"{_ms(blur_s)} are left at each end of whatever moves, far above any skew."
        )
    for letter, body, one in zip(BODY_LETTERS, rig.both, bodies, strict=True):
        yield from _body_warnings(f"bodies.{letter}", body, one)
    if rig.splitter is not None:
        yield (
            "The glass at 45 degrees polarises: skies, water and wet leaves differ between the two pictures in more "
            "than colour, and turning the rig on its side changes them."
        )


def _body_warnings(key: str, body: Body, one: BodyExposure) -> Iterable[str]:
    if abs(one.error_stops) > REACH_STOPS:
        word = "under" if one.error_stops < 0 else "over"
        yield (
            f"{one.name} would need {_time(one.needed_s)}; the nearest time on its dial is {one.mark} "
            f"({key}.shutter.marked): {abs(one.error_stops):.1f} stops {word}; change the aperture or the light."
        )
    shutter = body.shutter
    if isinstance(shutter, FocalPlane) and shutter.above_sync_speed(one.mark):
        yield (
            f"{one.name} at {one.mark} is above its sync speed {shutter.sync_speed} ({key}.shutter.sync_speed): X is "
            "likely suppressed, so the box cannot judge the frames."
        )
    if isinstance(shutter, Leaf) and one.mark.nominal_s < (shutter.opening_s + shutter.closing_s) / 2:
        yield (
            f"{one.name}'s blades cannot expose for {one.mark} at full aperture ({key}.shutter.opening): the true "
            "time is longer."
        )
    # One over the focal length in millimetres, of the lens that gives the same view on 24 x 36 mm.
    handheld_s = body.frame.diagonal_m / FULL_FRAME_DIAGONAL_M / (body.lens.focal_length_m * 1000)
    if one.mark.nominal_s > handheld_s * 1.15:
        yield (
            f"{one.name} at {one.mark} is slower than the usual limit by hand, {_time(handheld_s)} for this lens and "
            "frame (one over the focal length; common practice): use a tripod."
        )
    if abs(one.needed_s / one.metered_s - 1) > 0.01:
        yield (
            f"{one.name}: the film's reciprocity turns {_time(one.metered_s)} into {_time(one.needed_s)} "
            f"({key}.film.reciprocity)."
        )


def _count(stops: float) -> str:
    words = {1: "one stop", 2: "two stops", 3: "three stops", 4: "four stops"}
    return words.get(round(stops), f"{round(stops)} stops")


def _range(sharp_m: tuple[float, float]) -> str:
    far = "infinity" if math.isinf(sharp_m[1]) else f"{sharp_m[1]:.3g} m"
    return f"{sharp_m[0]:.3g} m to {far}"


def _time(seconds: float) -> str:
    return f"{seconds:.3g} s" if seconds >= 0.4 else f"1/{1 / seconds:.3g} s"


def _ms(seconds: float) -> str:
    return f"{seconds * 1e3:.1f} ms"
