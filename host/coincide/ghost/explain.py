"""Was it timing? From a ghost's size back to the skew that would make it, and what was measured beside it.

Skews are referred to frame centre: what the sweeps add where the thing stands is taken off. Positive when
B is late. Uncertainties are standard uncertainties, combined by root sum of squares (JCGM 100:2008, 5.1.2).

The verdict itself is in `verdict`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from coincide.errors import BadInput
from coincide.ghost.causes import Candidate, candidates_of, with_other_causes
from coincide.ghost.evidence import Known, Thing
from coincide.ghost.verdict import BOTH, COVER, Judged, Reach, judge
from coincide.planning.displacement import across_m, towards_m
from coincide.rig.model import Rig
from coincide.rig.optics.geometry import view_of
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.sweep import sweep_skew_s
from coincide.rig.optics.thin_lens import body_image_distance_m

MOST_THINGS = 12


@dataclass(frozen=True, slots=True)
class Implied:
    """What one thing says.

    skew_s at frame centre and u_s; NaN where its speed is unknown or zero. sweep_s: what the sweeps add at its
    place, in skew_s already taken off. per_second_m_s: how fast its picture moves over the film; NaN where the
    speed is unknown. needed_m_s: the speed that the known skew would need; NaN without one. expected_m: how
    far apart the known skew puts it. blur_m: how far it smears within the pictures of (A, B) while their shutters are
    open, as on A's film; NaN where the speed is unknown. candidates: what could have made it, and how large each
    would be.
    """

    thing: Thing
    skew_s: float
    u_s: float
    sweep_s: float
    per_second_m_s: float
    needed_m_s: float
    expected_m: float
    blur_m: tuple[float, float]
    candidates: tuple[Candidate, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """The answer.

    skew_s, u_s: from all things of known speed together (weighted least squares), NaN without any. signed:
    False where only the size is known, and either body may be late. misfit, freedom: chi-square of the things
    about skew_s, and its degrees of freedom. still_m: how far things that stood still are displaced, 0 where
    they are not; it counts as uncertainty of the others. judged: the verdict, and what it rests on.
    """

    implied: tuple[Implied, ...]
    skew_s: float
    u_s: float
    signed: bool
    misfit: float
    freedom: int
    known: Known | None
    still_m: float
    judged: Judged


def explain(rig: Rig, things: Sequence[Thing], known: Known | None = None) -> Explanation:
    """Weigh `things` against each other and against a `known` skew. Raises BadInput for what cannot be."""
    _check(rig, things)
    still_m = max((thing.length_m for thing in things if _displaced(thing)), default=0.0)
    given, things = things, [_as_well_as_what_stood_still(thing, still_m) for thing in things]
    rates = [_per_second_m_s(rig, thing) for thing in things]
    sweeps = [_sweep_s(rig, thing) for thing in things]
    timed = [k for k, thing in enumerate(things) if thing.speed_m_s]
    signs, skew_s, u_s, misfit, open_sign = _together(things, rates, sweeps, timed, known)
    exposures_s = [effective_exposure_s(body) for body in rig.both]
    implied = []
    for k, thing in enumerate(things):
        at_place = _at_place_s(known, sweeps[k])
        one, one_u = (
            (_one_s(thing, rates[k], sweeps[k], signs.get(k, 1.0))) if k in timed else (math.nan,) * 2
        )
        unit = _unit_m(rig, thing)
        implied.append(
            Implied(
                thing=given[k],
                skew_s=one,
                u_s=one_u,
                sweep_s=sweeps[k],
                per_second_m_s=rates[k],
                needed_m_s=thing.length_m / (unit * at_place) if at_place > 0 and unit > 0 else math.nan,
                expected_m=rates[k] * at_place if k in timed else 0.0 if thing.speed_m_s == 0 else math.nan,
                blur_m=(rates[k] * exposures_s[0], rates[k] * exposures_s[1]),
                candidates=candidates_of(rig, thing, rates[k], sweeps[k], known),
            )
        )
    reach = None
    if timed and known is not None:
        between = float(np.average([sweeps[k] for k in timed], weights=[rates[k] for k in timed]))
        reach = Reach(
            needed_s=skew_s + between,
            needed_u_s=u_s,
            known_s=known.skew_s + between if known.own else 0.0,
            known_u_s=known.u_s,
            own=known.own,
            signed=all(things[k].signed for k in timed),
            along=_along(things, timed),
            aside=any(abs(things[k].aside_m) > BOTH * things[k].aside_u_m for k in timed),
        )
    moving = [thing for thing in given if thing.speed_m_s != 0]
    judged = judge(
        reach,
        misfit,
        len(timed) - 1,
        stood_still=still_m > 0 and all(one.length_m <= still_m + COVER * one.u_m for one in moving),
    )
    return Explanation(
        implied=tuple(implied),
        skew_s=skew_s,
        u_s=u_s,
        signed=not open_sign,
        misfit=misfit,
        freedom=max(len(timed) - 1, 0),
        known=known,
        still_m=still_m,
        judged=with_other_causes(judged, [implied[k].candidates for k in timed]),
    )


def _displaced(thing: Thing) -> bool:
    return thing.speed_m_s == 0 and thing.length_m > COVER * thing.u_m


def _as_well_as_what_stood_still(thing: Thing, still_m: float) -> Thing:
    """What displaced still things may have displaced this one as well, any way."""
    return replace(thing, u_m=math.hypot(thing.u_m, still_m)) if thing.speed_m_s != 0 else thing


def _along(things: Sequence[Thing], timed: Sequence[int]) -> float:
    """Part of the displacements that lies along the ways of the things."""
    total = sum(things[k].length_m for k in timed)
    return sum(abs(things[k].apart_m) for k in timed) / total if total > 0 else 1.0


def _check(rig: Rig, things: Sequence[Thing]) -> None:
    if not things:
        raise BadInput("Nothing to explain: give at least one thing and how far its two pictures lie apart.")
    if len(things) > MOST_THINGS:
        raise BadInput(f"{len(things)} things are more than can be weighed; give the {MOST_THINGS} clearest.")
    for thing in things:
        if thing.u_m <= 0 or not math.isfinite(thing.apart_m):
            raise BadInput(f"{thing.name}: give how far apart its pictures lie, and how well that is known.")
        if thing.distance_m <= rig.bodies.a.lens.focal_length_m:
            raise BadInput(
                f"{thing.name}: {thing.distance_m:g} m lies inside the focal length of body A's lens."
            )
        if not all(0.0 <= part <= 1.0 for part in thing.place):
            raise BadInput(
                f"{thing.name}: its place must be two fractions of the frame, 0 to 1, such as 0.5 0.5."
            )


def _unit_m(rig: Rig, thing: Thing) -> float:
    """How far its picture moves a second for every metre a second that it moves."""
    body = rig.bodies.a
    b_m = body_image_distance_m(body, thing.distance_m)
    if thing.direction == "across":
        return across_m(b_m, thing.distance_m, 1.0, 1.0)
    return towards_m(_height_m(rig, thing), thing.distance_m, 1.0, 1.0)


def _height_m(rig: Rig, thing: Thing) -> float:
    body = rig.bodies.a
    view = view_of(body, thing.distance_m)  # of the scene: a body on its side has its long edge upright there
    x, z = (2 * thing.place[0] - 1) * view.half_x, (1 - 2 * thing.place[1]) * view.half_z
    return body_image_distance_m(body, thing.distance_m) * math.hypot(x, z)


def _per_second_m_s(rig: Rig, thing: Thing) -> float:
    return math.nan if thing.speed_m_s is None else _unit_m(rig, thing) * thing.speed_m_s


def _sweep_s(rig: Rig, thing: Thing) -> float:
    view = view_of(rig.bodies.a, thing.distance_m)
    x = (2 * thing.place[0] - 1) * view.half_x
    z = (1 - 2 * thing.place[1]) * view.half_z
    return float(sweep_skew_s(rig, x, z, thing.distance_m))


def _one_s(thing: Thing, rate: float, sweep_s: float, sign: float) -> tuple[float, float]:
    if rate <= 0:
        raise BadInput(
            f"{thing.name}: in frame centre what comes towards the camera does not move on film; give its place."
        )
    total = thing.apart_m / rate
    if not thing.signed:
        total = sign * abs(total)
    relative = math.hypot(thing.speed_u, thing.distance_u)
    return total - sweep_s, math.hypot(thing.along_u_m / rate, total * relative)


def _together(
    things: Sequence[Thing],
    rates: Sequence[float],
    sweeps: Sequence[float],
    timed: Sequence[int],
    known: Known | None,
) -> tuple[dict[int, float], float, float, float, bool]:
    """Signs that fit best, the weighted mean and its uncertainty, chi-square, and whether the sign stays open.

    Every way of choosing the unknown signs is tried: they are few. A frame's own measured skew, where there
    is one, settles the sign that the things leave open.
    """
    if not timed:
        return {}, math.nan, math.nan, 0.0, True
    loose = [k for k in timed if not things[k].signed]
    tried = []
    for chosen in itertools.product((1.0, -1.0), repeat=len(loose)):
        signs = dict(zip(loose, chosen, strict=True))
        pairs = [_one_s(things[k], rates[k], sweeps[k], signs.get(k, 1.0)) for k in timed]
        skews, us = np.array([p[0] for p in pairs]), np.array([p[1] for p in pairs])
        weight = us**-2.0
        mean = float(weight @ skews / weight.sum())
        misfit = float((((skews - mean) / us) ** 2).sum())
        tried.append((misfit, mean, float(weight.sum() ** -0.5), signs))
    tried.sort(key=lambda entry: entry[0])
    alike = [entry for entry in tried if entry[0] < tried[0][0] + 3.84]
    opposite = [entry for entry in alike if entry[1] * alike[0][1] < 0]
    best = alike[0]
    if known is not None and known.own:
        best = min(alike, key=lambda entry: abs(entry[1] - known.skew_s))
    open_sign = bool(opposite) and not (known is not None and known.own)
    misfit, mean, u, signs = best
    if len(timed) > 1:
        # Where the things disagree more than they should, the spread is the honest uncertainty.
        u *= max(1.0, math.sqrt(misfit / (len(timed) - 1)))
    return signs, mean, u, misfit, open_sign


def _at_place_s(known: Known | None, sweep_s: float) -> float:
    """Size of the known skew where the thing stands."""
    if known is None:
        return 0.0
    return abs(known.skew_s + sweep_s) if known.own else COVER * known.u_s + abs(sweep_s)
