"""What could have made a ghost, and how large each would be: the skew, the sweeps, unequal exposures.

Unequal exposures move nothing. Mid-exposures that coincide leave the longer smear jutting out by image speed times
|tA - tB|/2 at each end, in the colour of the body that exposes longer. Whoever measures there measures that, with the
skew's displacement added at one end and taken off at the other.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from coincide.ghost.evidence import Known, Thing
from coincide.ghost.verdict import BOTH, COVER, LEAST, Judged, Verdict
from coincide.rig.model import Rig
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.sweep import sweep_spread

Cause = Literal["skew", "sweep", "unequal exposure"]
# What a further cause may be asked about: with these the known skew does not explain the ghost by itself.
_UNEXPLAINED: tuple[Verdict, ...] = ("not timing", "part", "too large")


@dataclass(frozen=True, slots=True)
class Candidate:
    """One cause. size_m: how large it would be on film, in body A's scale, and u_m its standard uncertainty; NaN where
    nothing is known of it. at_most: size_m is the most it can be (95 % of pairs, or the worst corner). fits: the ghost
    as measured is what it makes, by itself or (unequal exposure) with the known skew."""

    cause: Cause
    size_m: float
    u_m: float
    at_most: bool
    fits: bool


def candidates_of(
    rig: Rig, thing: Thing, rate_m_s: float, sweep_s: float, known: Known | None
) -> tuple[Candidate, ...]:
    """The causes that can displace `thing`; none where its speed is unknown or zero.

    rate_m_s: how fast its picture moves over the film. sweep_s: what the sweeps add at its place.
    """
    if not thing.speed_m_s:
        return ()
    relative = math.hypot(thing.speed_u, thing.distance_u)
    return (
        _skew(thing, rate_m_s, known, relative),
        _sweep(rig, thing, rate_m_s, sweep_s, known, relative),
        _unequal(rig, thing, rate_m_s, sweep_s, known, relative),
    )


def with_other_causes(judged: Judged, things: Sequence[tuple[Candidate, ...]]) -> Judged:
    """The verdict, once other causes than the skew were asked: they may fit where the skew does not.

    things: the candidates of each thing of known speed.
    """
    if judged.verdict not in _UNEXPLAINED or judged.aside or not things:
        return judged
    if _all_fit(things, "unequal exposure"):
        return replace(judged, verdict="unequal exposure")
    if judged.verdict != "too large" and _all_fit(things, "sweep"):
        return replace(judged, verdict="cannot tell", decides="place")
    return judged


def _all_fit(things: Sequence[tuple[Candidate, ...]], cause: Cause) -> bool:
    return all(any(one.fits for one in candidates if one.cause == cause) for candidates in things)


def _skew(thing: Thing, rate_m_s: float, known: Known | None, relative: float) -> Candidate:
    if known is None:
        return Candidate("skew", math.nan, math.nan, at_most=False, fits=False)
    if not known.own:
        size_m = rate_m_s * COVER * known.u_s
        fits = thing.length_m <= size_m + BOTH * math.hypot(thing.u_m, size_m * relative)
        return Candidate("skew", size_m, size_m * relative, at_most=True, fits=fits)
    size_m = rate_m_s * abs(known.skew_s)
    u_m = math.hypot(size_m * relative, rate_m_s * known.u_s)
    return Candidate("skew", size_m, u_m, at_most=False, fits=_within(thing, size_m, u_m))


def _sweep(
    rig: Rig, thing: Thing, rate_m_s: float, sweep_s: float, known: Known | None, relative: float
) -> Candidate:
    if thing.placed:
        size_m = rate_m_s * abs(sweep_s)
        u_m = size_m * relative
        return Candidate("sweep", size_m, u_m, at_most=False, fits=_within(thing, size_m, u_m))
    size_m = rate_m_s * sweep_spread(rig).corner_s
    u_m = size_m * relative
    skew_m = 0.0 if known is None else rate_m_s * (abs(known.skew_s) if known.own else COVER * known.u_s)
    doubt_m = BOTH * math.hypot(thing.u_m, u_m, rate_m_s * known.u_s if known is not None else 0.0)
    fits = size_m > thing.u_m and thing.length_m <= size_m + skew_m + doubt_m
    return Candidate("sweep", size_m, u_m, at_most=True, fits=fits)


def _unequal(
    rig: Rig, thing: Thing, rate_m_s: float, sweep_s: float, known: Known | None, relative: float
) -> Candidate:
    a, b = (effective_exposure_s(body) for body in rig.both)
    size_m = rate_m_s * abs(a - b) / 2
    u_m = size_m * relative
    skew_s = known.skew_s + sweep_s if known is not None and known.own else sweep_s
    allowed_s = 0.0 if known is None else known.u_s
    both_u_m = math.hypot(u_m, thing.u_m, rate_m_s * allowed_s, rate_m_s * skew_s * relative)
    ends_m = (size_m + rate_m_s * abs(skew_s), abs(size_m - rate_m_s * abs(skew_s)))
    near = any(abs(thing.length_m - end_m) <= BOTH * both_u_m for end_m in ends_m)
    # What would agree with half of it as well says nothing.
    telling = BOTH * both_u_m <= LEAST * thing.length_m and size_m > BOTH * thing.u_m
    return Candidate(
        "unequal exposure", size_m, u_m, at_most=False, fits=near and telling and not thing.whole
    )


def _within(thing: Thing, size_m: float, u_m: float) -> bool:
    return size_m > 0 and abs(thing.length_m - size_m) <= BOTH * math.hypot(thing.u_m, u_m)
