"""A pair of exposures as sentences and rows."""

from __future__ import annotations

from collections.abc import Iterable

from coincide.planning.exposure import REACH_STOPS, BodyExposure, Pairing
from coincide.report.words.numbers import ms
from coincide.report.words.planning import figure
from coincide.report.words.series import who
from coincide.rig.calibration import Calibration, Found
from coincide.rig.model import Rig

# How the source of a step ends, and what the row is called.
_STEPS = (
    ("iso", "film"),
    ("effective_index", "film"),
    ("filter_stops", "filter"),
    ("transmission", "glass"),
    ("reflection", "glass"),
)


def exposure_rows(pairing: Pairing) -> list[tuple[str, ...]]:
    """(what, body A, body B): from the reading to what is set."""
    columns = [_column(body) for body in pairing.bodies]
    names = [name for name in _ORDER if any(name in column for column in columns)]
    return [(name, *(column.get(name, "-") for column in columns)) for name in names]


_ORDER = (
    "aperture",
    "film",
    "filter",
    "glass",
    "in all",
    "metered",
    "with reciprocity",
    "set",
    "off by",
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
    said["set"] = f"{body.mark} at f/{body.aperture:g}"
    said["off by"] = thirds_words(body.error_thirds)
    far = "infinity" if body.sharp_m[1] == float("inf") else f"{body.sharp_m[1]:.3g} m"
    said["sharp from"] = f"{body.sharp_m[0]:.3g} m to {far}"
    return said


def time_words(seconds: float) -> str:
    """'1/47 s', '2.5 s'."""
    return f"{figure(seconds)} s" if seconds >= 0.4 else f"1/{figure(1 / seconds)} s"


def thirds_words(thirds: int) -> str:
    """'one third of a stop over', 'less than a sixth of a stop'."""
    if thirds == 0:
        return "less than a sixth of a stop"
    count = {1: "one third", 2: "two thirds"}.get(abs(thirds), f"{abs(thirds)} thirds")
    return f"{count} of a stop {'over' if thirds > 0 else 'under'}"


def exposure_lines(rig: Rig, pairing: Pairing, found: Iterable[Found]) -> tuple[str, ...]:
    """Why these settings, what opening the slower body would do, and the preset; a sentence each."""
    lines = list(pairing.why)
    if pairing.opening is not None:
        lines.append(pairing.opening.say)
    calibration = next((one.calibration for one in found if one.path.name == pairing.calibration), None)
    if calibration is not None:
        lines.append(f"Preset {pairing.preset} ({pairing.calibration}): {delay_words(rig, calibration)}.")
    else:
        lines.append(f"Preset {pairing.preset}: missing.")
    return tuple(lines)


def delay_words(rig: Rig, calibration: Calibration) -> str:
    """'delay Lapwing (A) by 20.63 ms'."""
    half_s = (calibration.interval_s[1] - calibration.interval_s[0]) / 2
    if calibration.offset_s == 0:
        return "no offset"
    name = who(rig)[0 if calibration.offset_s > 0 else 1]
    return f"delay {name} by {ms(abs(calibration.offset_s), half_s)}"


def can_be_set(pairing: Pairing) -> bool:
    """Both dials have a time within half a stop of what is needed."""
    return all(abs(body.error_stops) <= REACH_STOPS for body in pairing.bodies)
