"""What is doubtful about a pair of settings, and the sums behind it, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterable

from coincide.planning.exposure.body import BodyExposure
from coincide.planning.exposure.light import PairLight
from coincide.planning.exposure.mend import Mend
from coincide.planning.exposure.reciprocity import table_ends_s
from coincide.rig.calibration import BODY_LETTERS, preset_name
from coincide.rig.fields import LONGEST_EXPOSURE_S
from coincide.rig.model import Body, Rig
from coincide.rig.parts import FocalPlane, Leaf

FULL_FRAME_DIAGONAL_M = 0.04327
WORTH_SAYING_STOPS = 2.0


def stops_from_the_reading(body: BodyExposure) -> str:
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


def notes(
    rig: Rig,
    bodies: tuple[BodyExposure, BodyExposure],
    mends: tuple[Mend | None, Mend | None],
    calibrated: PairLight | None,
) -> Iterable[str]:
    """Every doubt about what to set, the calibration first. calibrated: the pair's own calibration, if there is one."""
    preset = preset_name((bodies[0].mark.text, bodies[1].mark.text))
    if calibrated is None:
        yield (
            f"There is no calibration for {preset}: another pair of shutter times has another offset; "
            "set these times in the rig and run 'coincide calibrate'."
        )
    elif calibrated.stale:
        yield f"The calibration for {preset} no longer holds: {calibrated.stale[0]} Run 'coincide calibrate'."
    apart = math.log2(bodies[0].effective_s / bodies[1].effective_s)
    if abs(apart) >= WORTH_SAYING_STOPS - 1e-6:
        slower = bodies[0] if apart > 0 else bodies[1]
        blur_s = abs(bodies[0].effective_s - bodies[1].effective_s) / 2
        yield (
            f"{slower.name} exposes {abs(apart):.0f} stops longer and blurs more: with the middles together, "
            f"{ms(blur_s)} are left at each end of whatever moves, far above any skew."
        )
    for letter, body, one, way in zip(BODY_LETTERS, rig.both, bodies, mends, strict=True):
        yield from _latitude(f"bodies.{letter}", one, way)
        yield from _body(f"bodies.{letter}", body, one)
    if rig.splitter is not None:
        yield (
            "The glass at 45 degrees polarises: skies, water and wet leaves differ between the two pictures in more "
            "than colour, and turning the rig on its side changes them."
        )


def _latitude(key: str, one: BodyExposure, way: Mend | None) -> Iterable[str]:
    if way is None:
        return
    under = one.error_stops < 0
    stands = one.latitude.under_stops if under else one.latitude.over_stops
    yield (
        f"{one.name} would need {_time(one.needed_s)}; the nearest time on its dial is {one.mark} "
        f"({key}.shutter.marked): {abs(one.error_stops):.1f} stops {'under' if under else 'over'}, more than the "
        f"{stands:g} its film stands ({key}.film.latitude). {way.say}"
    )


def _body(key: str, body: Body, one: BodyExposure) -> Iterable[str]:
    shutter = body.shutter
    if one.mark.nominal_s > LONGEST_EXPOSURE_S:
        yield (
            f"{one.name} at {one.mark} is longer than the box listens ({LONGEST_EXPOSURE_S:g} s): it cannot be "
            "calibrated; open the aperture or put up with an offset that was not measured."
        )
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
    if body.film is not None and one.metered_s > table_ends_s(body.film) * 1.001:
        yield (
            f"{one.name}: the reciprocity table ends at {_time(table_ends_s(body.film))} metered "
            f"({key}.film.reciprocity); it was carried on at its last slope, which is a guess: bracket."
        )


def ms(seconds: float) -> str:
    """'14.6 ms'."""
    return f"{seconds * 1e3:.1f} ms"


def _count(stops: float) -> str:
    words = {1: "one stop", 2: "two stops", 3: "three stops", 4: "four stops"}
    return words.get(round(stops), f"{round(stops)} stops")


def _time(seconds: float) -> str:
    if seconds >= 0.4:
        return f"{float(f'{seconds:.3g}'):.15g} s"
    return f"1/{float(f'{1 / seconds:.3g}'):.15g} s"
