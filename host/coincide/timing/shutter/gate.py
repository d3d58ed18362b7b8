"""Exposure, mid-exposure and curtain travel from gate sensors.

each sensor    half-peak open o and close c: edges less delays; width, threshold and rise corrected
               (sensors.py)
exposure       c - o
mid-exposure   (o + c)/2, moved along the sweep to the frame's centre; with two sensors interpolated
travel         two sensors: time between their edges over the part of the travel that lies between them, averaged
               with what the rig gives, each by its uncertainty
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coincide.rig.parts import GateSensor
from coincide.timing.budget.part import Part, rectangular, together_s
from coincide.timing.shutter.sensors import (
    late_when_closing_s,
    late_when_opening_s,
    threshold_u_s,
    why_blind,
    why_too_slow,
)
from coincide.timing.shutter.traits import TRAVEL_U, ShutterModel

Floats = npt.NDArray[np.float64]

SHORTEST = 0.67  # of the marked time that an exposure may be, with the threshold at its highest
RISE_U = 0.3  # standard uncertainty of a sensor's rise time as given, relative
APART = 0.2  # of the travel between two sensors, for them to tell the curtains' speed
DISAGREE = 2.6  # standard uncertainties between the rig's travel and what was seen: 1 in 100 by chance
CURVES_DIFFER = 0.1  # how far the curves of two curtains may be apart that have been seen to run differently
SPEEDS_DIFFER = 0.05  # relative, before two curtains are said to run at different speeds


@dataclass(frozen=True, slots=True)
class GateView:
    """What the gate sensors of one body saw; seconds from each shot's start, NaN where nothing.

    mid_s, exposure_s (n,). mid_parts, exposure_parts: type B. travel_s, travel_parts: of the curtains, NaN and
    none with fewer than two sensors. complaints: sentences. refusal: why the sensors cannot tell, or None.
    """

    mid_s: Floats
    exposure_s: Floats
    mid_parts: tuple[Part, ...] = ()
    exposure_parts: tuple[Part, ...] = ()
    travel_s: float = np.nan
    travel_parts: tuple[Part, ...] = ()
    complaints: tuple[str, ...] = ()
    refusal: str | None = None


@dataclass(frozen=True, slots=True)
class _One:
    sensor: GateSensor
    open_s: Floats
    close_s: Floats
    open_u_s: float
    close_u_s: float


def look_at_gate(
    open_s: Floats,
    close_s: Floats,
    sensors: tuple[GateSensor | None, GateSensor | None],
    shutter: ShutterModel,
    who: str,
) -> GateView:
    """open_s, close_s (n, 2): edges of both sensors of one body as they came, NaN where none."""
    nothing = np.full(open_s.shape[0], np.nan)
    fitted = [sensor for sensor in sensors if sensor is not None]
    if not fitted:
        return GateView(nothing, nothing)
    if shutter.kind == "rows":
        return GateView(
            nothing,
            nothing,
            refusal=f"Not measurable at the gate, because nothing moves there: the rows of {who} begin and end in the "
            "image sensor. Use the lamp row.",
        )
    seen = [
        _correct(open_s[:, at], close_s[:, at], sensor, shutter)
        for at, sensor in enumerate(sensors)
        if sensor is not None and np.any(np.isfinite(close_s[:, at]))
    ]
    if not seen:
        # Nothing came at all: a mark a third of a stop long, or a curtain a little slow, is enough to
        # explain it.
        shortest = SHORTEST * (shutter.marked_s + shutter.exposure_grown_s)
        blind = why_blind(shortest, shutter.edge(fitted[0]), who)
        return GateView(nothing, nothing, refusal=blind)
    slow = [why_too_slow(shutter.marked_s, shutter.edge(one.sensor), who) for one in seen]
    complaints = tuple(dict.fromkeys(said for said in slow if said is not None))
    if len(seen) == 2 and shutter.kind == "curtains":
        part = _between(seen, shutter)
        if abs(part) > APART:
            return _two(seen, shutter, part, complaints, who)
    return _single(seen, shutter, complaints)


def _correct(open_s: Floats, close_s: Floats, sensor: GateSensor, shutter: ShutterModel) -> _One:
    """Edges brought to half-peak; standard uncertainties of what is not shared by opening and closing."""
    coming, going = shutter.edge(sensor), shutter.edge(sensor, closing=True)
    open_u, close_u = threshold_u_s(coming)[0], threshold_u_s(going)[1]
    return _One(
        sensor,
        open_s - sensor.delay_on_s - late_when_opening_s(coming),
        close_s - sensor.delay_off_s - late_when_closing_s(going),
        open_u,
        close_u,
    )


def _edge_parts(one: _One, shutter: ShutterModel) -> tuple[tuple[Part, ...], tuple[Part, ...]]:
    """Type B of (mid, exposure) at one sensor. A threshold off its value delays one edge and advances the
    other, so it moves the exposure by both and the middle by half their difference."""
    delay = one.sensor.delay_uncertainty_s
    zero = "measure it: 'coincide box check --zero'"
    constant = shutter.edge(one.sensor).constant_s
    threshold = "set the comparator to half of the full light"
    mid = (
        Part("gate sensor delay", delay / np.sqrt(6.0), "normal", zero),
        Part("gate threshold", 0.5 * abs(one.open_u_s - one.close_u_s), "normal", threshold),
        Part("gate sensor's rise", RISE_U * constant, "normal", "a smaller load resistor makes it faster"),
        placing(one.sensor, shutter),
    )
    exposure = (
        Part("gate sensor delay", delay * np.sqrt(2.0 / 3.0), "normal", zero),
        Part("gate threshold", one.open_u_s + one.close_u_s, "normal", threshold),
        Part(
            "gate sensor's rise", RISE_U * constant * 0.5, "normal", "a smaller load resistor makes it faster"
        ),
    )
    return tuple(part for part in mid if part.u_s > 0), tuple(part for part in exposure if part.u_s > 0)


def placing(sensor: GateSensor, shutter: ShutterModel) -> Part:
    """What a sensor that may sit off its position along the sweep adds to a mid-exposure; nothing for blades, which
    expose the whole frame at once. Both edges move alike, so an exposure does not feel it."""
    half_s = 0.0
    if shutter.kind != "blades":
        off = sensor.position_uncertainty_m / shutter.length_m
        low, high = max(sensor.position - off, 0.0), min(sensor.position + off, 1.0)
        here = shutter.time_at(sensor.position)
        half_s = max(here - shutter.time_at(low), shutter.time_at(high) - here)
    remedy = "measure where the diode sits, or turn its holder round and take the mean of both ways"
    return rectangular("placing of the gate sensor", half_s, remedy)


def _single(seen: list[_One], shutter: ShutterModel, complaints: tuple[str, ...]) -> GateView:
    """The sensor nearest the centre speaks for it."""
    one = min(seen, key=lambda each: abs(shutter.from_centre_s(each.sensor.position)))
    mid_parts, exposure_parts = _edge_parts(one, shutter)
    moved = shutter.from_centre_s(one.sensor.position)
    if moved:
        remedy = "put the sensor at the frame's centre"
        curve_u = shutter.curve_effect(lambda curve: shutter.from_centre_s(one.sensor.position, curve))
        u = float(np.hypot(curve_u, TRAVEL_U * moved))
        mid_parts = (*mid_parts, Part("gate sensor off centre", u, "normal", remedy))
    return GateView(
        0.5 * (one.open_s + one.close_s) + moved,
        one.close_s - one.open_s,
        mid_parts,
        exposure_parts,
        complaints=complaints,
    )


def _between(seen: list[_One], shutter: ShutterModel, curve: float | None = None) -> float:
    """Part of the travel between the two sensors, signed."""
    first, second = (shutter.time_at(one.sensor.position, curve) for one in seen)
    return (second - first) / shutter.sweep_s


def _weighted(weights: tuple[float, float], parts: list[tuple[Part, ...]]) -> tuple[Part, ...]:
    """The parts of both sensors, each with its sensor's weight."""
    return tuple(
        Part(f"{each.name} {number}", abs(weight) * each.u_s, each.distribution, each.remedy)
        for number, weight, of_one in zip((1, 2), weights, parts, strict=True)
        for each in of_one
    )


def _share(seen: list[_One], shutter: ShutterModel, curve: float | None = None) -> float:
    """Where the frame's centre lies in time between the two sensors: 0 at the first, 1 at the second."""
    apart = _between(seen, shutter, curve) * shutter.sweep_s
    return shutter.from_centre_s(seen[0].sensor.position, curve) / apart


def _two(
    seen: list[_One], shutter: ShutterModel, part: float, complaints: tuple[str, ...], who: str
) -> GateView:
    first, second = seen
    mids = [0.5 * (one.open_s + one.close_s) for one in seen]
    share = _share(seen, shutter)
    mid = mids[0] + share * (mids[1] - mids[0])
    apart = float(np.nanmedian(mids[1] - mids[0]))
    parts = [_edge_parts(one, shutter) for one in seen]
    weights = (1.0 - share, share)
    curve = Part(
        "curtain speed curve",
        shutter.curve_effect(lambda each: _share(seen, shutter, each)) * abs(apart),
        "normal",
        "add a sensor at the centre",
    )
    mid_parts = (*_weighted(weights, [of_mid for of_mid, _ in parts]), curve)
    travels = [
        float(np.nanmedian(edge)) / part
        for edge in (second.open_s - first.open_s, second.close_s - first.close_s)
    ]
    travel = 0.5 * (travels[0] + travels[1])
    noise = np.nanstd(mids[1] - mids[0]) / np.sqrt(max(np.isfinite(mids[1] - mids[0]).sum(), 1))
    ends = np.hypot(together_s(parts[0][0]), together_s(parts[1][0]))
    # The travel is what was seen over the part between the sensors: it goes with one over that part.
    curve_u = shutter.curve_effect(lambda each: part / _between(seen, shutter, each))
    seen_parts = (
        Part("scatter of the shots", float(noise) / abs(part), "normal", "fire more pairs"),
        Part("both sensors' edges", float(ends) / abs(part), "normal", "narrower, faster sensors"),
        Part("curtain speed curve", travel * curve_u, "normal", "put the sensors nearer the frame's edges"),
    )
    travel, travel_parts, disagrees = _with_the_rigs(travel, seen_parts, shutter, who)
    complaints = (*complaints, *disagrees)
    mean = 0.5 * (travels[0] + travels[1])
    if abs(travels[1] - travels[0]) > max(SPEEDS_DIFFER * mean, 3.0 * float(ends) / abs(part)):
        complaints = (
            *complaints,
            f"The curtains of {who} run at different speeds: {travels[0] * 1e3:.2f} ms and "
            f"{travels[1] * 1e3:.2f} ms over the frame, so the exposure varies across it.",
        )
    # Exposure at the centre, between those at the sensors.
    exposure = (1.0 - share) * (first.close_s - first.open_s) + share * (second.close_s - second.open_s)
    exposure_parts = _weighted(weights, [of_exposure for _, of_exposure in parts])
    between = (second.close_s - second.open_s) - (first.close_s - first.open_s)
    sure = np.hypot(together_s(parts[0][1]), together_s(parts[1][1]))
    if abs(float(np.nanmedian(between))) > 3.0 * float(sure):
        # Curtains that do not run alike at two points do not in between either.
        half_s, remedy = CURVES_DIFFER * shutter.sweep_s, "add a sensor at the centre"
        mid_parts = (*mid_parts, rectangular("curtains that run differently", 0.5 * half_s, remedy))
        exposure_parts = (*exposure_parts, rectangular("curtains that run differently", half_s, remedy))
    return GateView(mid, exposure, mid_parts, exposure_parts, travel, travel_parts, complaints)


def _with_the_rigs(
    seen_s: float, seen_parts: tuple[Part, ...], shutter: ShutterModel, who: str
) -> tuple[float, tuple[Part, ...], tuple[str, ...]]:
    """The travel that was seen and the one the rig gives, each with the weight its uncertainty leaves it; the parts of
    the mean; a sentence where the two cannot both be right, and then what was seen alone."""
    seen_u, given_u = together_s(seen_parts), TRAVEL_U * shutter.sweep_s
    if abs(seen_s - shutter.sweep_s) > DISAGREE * np.hypot(seen_u, given_u):
        said = (
            f"The curtains of {who} take {seen_s * 1e3:.1f} ms over the frame, not the "
            f"{shutter.sweep_s * 1e3:.1f} ms of 'travel' in the rig file: mend one or the other "
            "(a sensor's 'position' may be wrong).",
        )
        return seen_s, seen_parts, said
    weight = given_u**2 / (seen_u**2 + given_u**2)
    given = Part("travel time as given in the rig", (1.0 - weight) * given_u, "normal", "")
    parts = (*(Part(one.name, weight * one.u_s, one.distribution, one.remedy) for one in seen_parts), given)
    return weight * seen_s + (1.0 - weight) * shutter.sweep_s, parts, ()
