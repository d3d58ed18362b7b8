"""A pair of exposures as sentences and rows."""

from __future__ import annotations

import math

from coincide.planning.exposure.body import BodyExposure
from coincide.planning.exposure.light import PairLight
from coincide.planning.exposure.pairing import Pairing
from coincide.report.words.figures import figure
from coincide.report.words.numbers import ms
from coincide.report.words.series import who
from coincide.rig.calibration import Calibration
from coincide.rig.model import Rig

# How the source of a step ends, and what the row is called.
_STEPS = (
    ("iso", "film"),
    ("effective_index", "film"),
    ("filter_stops", "filter"),
    ("transmission", "glass"),
    ("reflection", "glass"),
    ("focused", "near focus"),
    ("subject.distance", "near focus"),
)


def exposure_rows(pairing: Pairing) -> list[tuple[str, ...]]:
    """(what, body A, body B): from the reading to what is set."""
    columns = [_column(body) for body in pairing.bodies]
    names = [name for name in _ORDER if any(name in column for column in columns)]
    return [(name, *(column.get(name, "-") for column in columns)) for name in names]


_ORDER = (
    "set",
    "off by",
    "aperture",
    "film",
    "filter",
    "glass",
    "near focus",
    "in all",
    "metered",
    "with reciprocity",
    "blades",
    "sharp from",
)


def _column(body: BodyExposure) -> dict[str, str]:
    said = {"aperture": f"f/{body.aperture:g}"}
    for step in body.steps:
        name = next(row for ending, row in _STEPS if step.source.endswith(ending))
        what = step.name.removeprefix("film of ").replace(" in the ", ", ").removesuffix(" band")
        said[name] = f"{step.stops:+.2f} stops" if name == "filter" else f"{step.stops:+.2f} stops: {what}"
    said["in all"] = f"{body.stops:+.2f} stops"
    said["metered"] = time_words(body.metered_s)
    if abs(body.needed_s / body.metered_s - 1) > 0.01:
        said["with reciprocity"] = time_words(body.needed_s)
    if body.grown_stops >= 0.005:
        said["blades"] = f"{body.grown_stops:+.2f} stops: exposes {time_words(body.effective_s)}"
    said["set"] = setting_words(body)
    said["off by"] = off_words(body.error_stops)
    far = "infinity" if body.sharp_m[1] == float("inf") else f"{body.sharp_m[1]:.3g} m"
    said["sharp from"] = f"{body.sharp_m[0]:.3g} m to {far}"
    return said


def time_words(seconds: float) -> str:
    """'1/47 s', '2.5 s'."""
    return f"{figure(seconds)} s" if seconds >= 0.4 else f"1/{figure(1 / seconds)} s"


def setting_words(body: BodyExposure) -> str:
    """'1/60 at f/8'."""
    return f"{body.mark} at f/{body.aperture:g}"


def off_words(stops: float) -> str:
    """'0.5 stop over', 'right'."""
    tenths = round(abs(stops), 1)
    if tenths == 0:
        return "right"
    return f"{tenths:g} {'stop' if tenths <= 1 else 'stops'} {'over' if stops > 0 else 'under'}"


def answer_line(rig: Rig, pairing: Pairing) -> str:
    """What to set, first of all."""
    settings = " and ".join(
        f"{name} {setting_words(body)}" for name, body in zip(who(rig), pairing.bodies, strict=True)
    )
    return f"Set: as the rig stands, {settings}." if pairing.as_it_stands else f"Set: {settings}."


def standing_line(pairing: Pairing) -> str:
    """How far off the rig is as it stands."""
    said = [f"{body.name} {setting_words(body)} {off_words(body.error_stops)}" for body in pairing.standing]
    return f"As the rig stands: {', '.join(said)}."


def exposure_lines(rig: Rig, pairing: Pairing) -> tuple[str, ...]:
    """The calibrated pairs, why these settings, and what opening the slower body would do; a sentence each."""
    lines = [pair_line(rig, pair) for pair in pairing.pairs]
    if pairing.calibration is None:
        lines.append(f"Preset {pairing.preset}: missing.")
    lines += pairing.why
    if pairing.opening is not None:
        lines.append(pairing.opening.say)
    return tuple(lines)


def pair_line(rig: Rig, pair: PairLight) -> str:
    """'Preset 1/60+1/30 at f/8 and f/4: right from EV 12.1 to 12.7; delay Lapwing (A) by 18.20 ms (FILE).'"""
    first, second = pair.apertures
    stale = "; stale, calibrate again" if pair.stale else ""
    return (
        f"Preset {pair.preset} at f/{first:g} and f/{second:g}: {light_words(rig, pair)}; "
        f"{delay_words(rig, pair.found.calibration)} ({pair.found.path.name}){stale}."
    )


def light_words(rig: Rig, pair: PairLight) -> str:
    """'right from EV 12.1 to 12.7', or for which light each body is."""
    both = pair.both_ev100
    if both is not None:
        return f"right {ev_words(both)}"
    each = ", ".join(
        f"{body.name} {ev_words(right)}" for body, right in zip(rig.both, pair.right_ev100, strict=True)
    )
    return f"right for both at no light, {each}"


def ev_words(between: tuple[float, float]) -> str:
    """'from EV 12.1 to 12.7', or 'at EV 12.4'."""
    said = ev_range(between)
    return f"from EV {said}" if " to " in said else f"at EV {said}"


def ev_range(between: tuple[float, float]) -> str:
    """'12.1 to 12.7', rounded inwards, so that both ends are right; '12.4' where that leaves nothing."""
    low, high = math.ceil(10 * between[0] - 1e-6) / 10, math.floor(10 * between[1] + 1e-6) / 10
    if low >= high:
        return f"{(between[0] + between[1]) / 2:.1f}"
    return f"{low + 0.0:g} to {high + 0.0:g}"


def delay_words(rig: Rig, calibration: Calibration) -> str:
    """'delay Lapwing (A) by 20.63 ms'."""
    half_s = (calibration.interval_s[1] - calibration.interval_s[0]) / 2
    if calibration.offset_s == 0:
        return "no offset"
    name = who(rig)[0 if calibration.offset_s > 0 else 1]
    return f"delay {name} by {ms(abs(calibration.offset_s), half_s)}"


def can_be_set(pairing: Pairing) -> bool:
    """Both dials have a time within the film's latitude of what is needed."""
    return all(body.within for body in pairing.bodies)
