"""From the skew that a ghost needs and the skew that was measured to a verdict, or to 'cannot tell'.

That the two agree proves nothing while the measured skew is known so roughly that it would agree with
almost anything. So the part of the ghost that the measured skew explains is given an interval (Fieller's, for
a ratio of two normal values: E. C. Fieller 1954, from memory), and the verdict is what that interval allows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from scipy import stats

Verdict = Literal[
    "timing",
    "part",
    "not timing",
    "unequal exposure",
    "too large",
    "stood still",
    "contradictory",
    "cannot tell",
    "open",
]
Decides = Literal["", "skew", "frame's own skew", "sign", "thing", "place"]

COVER = 1.96  # k for 95 %, normal
BOTH = 2.24  # k at which two independent tests (along the way, across it) err together in 5 % (Bonferroni)
_ONE_SIDED = 1.645  # k for 'at least' or 'at most' with 95 %
LEAST = 0.5  # timing explains it: at least this part of it, and no more than
MOST = 2.0  # this many times it
LITTLE = 0.25  # not timing: less than this part of it can be


@dataclass(frozen=True, slots=True)
class Reach:
    """What is weighed: skews where the things stand, standard uncertainties.

    needed: what would make the ghost. known: what was measured (own) or what the rig's jitter allows. signed:
    the things' ways are given, so the sign counts. along: the part of the displacement that lies along the
    things' ways; aside: what lies across them is more than its uncertainty.
    """

    needed_s: float
    needed_u_s: float
    known_s: float
    known_u_s: float
    own: bool
    signed: bool
    along: float
    aside: bool


@dataclass(frozen=True, slots=True)
class Judged:
    """verdict; share: the part of the whole ghost that the known skew explains, least and most with 95 %
    confidence each; times: known over needed skew. decides: what would decide where it
    cannot be told, and known_u_needed_s: how well the skew would have to be known, NaN where that would not do.
    aside: part of the ghost lies across its way."""

    verdict: Verdict
    share: float = math.nan
    share_least: float = math.nan
    share_most: float = math.nan
    times: float = math.nan
    decides: Decides = ""
    known_u_needed_s: float = math.nan
    aside: bool = False


def judge(reach: Reach | None, misfit: float, freedom: int, *, stood_still: bool) -> Judged:
    """The verdict. `reach` None: no speed or no skew to weigh. misfit, freedom: chi-square of several things."""
    if stood_still:
        return Judged("stood still")
    if freedom > 0 and misfit > stats.chi2.ppf(0.95, freedom):
        return Judged("contradictory")
    if reach is None:
        return Judged("open")
    return _own(reach) if reach.own else _jitter(reach)


def _own(reach: Reach) -> Judged:
    needed, u = reach.needed_s, reach.needed_u_s
    known, known_u = reach.known_s, reach.known_u_s
    if needed < 0:
        needed, known = -needed, -known
    seen = needed > COVER * u
    agrees = abs(needed - known) <= BOTH * math.hypot(u, known_u)
    least, most = _bounds(needed, u, known, known_u)
    times = known / needed if needed > 0 else math.nan
    share = min(max(times, 0.0), 1.0) * reach.along
    at_most = min(max(most, 0.0), 1.0) * reach.along

    def told(verdict: Verdict, decides: Decides = "", known_u_needed_s: float = math.nan) -> Judged:
        at_least = min(max(least, 0.0), 1.0) * reach.along
        return Judged(verdict, share, at_least, at_most, times, decides, known_u_needed_s, reach.aside)

    if reach.aside and at_most < LITTLE:
        return told("not timing")
    if not seen:
        # Along its way it is not displaced for sure. A skew that must have displaced it is contradicted all the same.
        return told("cannot tell", "thing") if agrees else told("too large")
    if agrees and least > LEAST and most < MOST:
        if reach.aside:
            return told("part")
        return told("timing") if reach.signed else told("cannot tell", "sign")
    if not agrees and known > needed:
        return told("too large")
    if not agrees:
        return told("not timing" if at_most < LITTLE else "part")
    better = _known_u_needed_s(needed, u)
    return told("cannot tell", "skew" if better > 0 else "thing", better or math.nan)


def _jitter(reach: Reach) -> Judged:
    """Only how much the rig scatters is known: that can rule timing out, and never prove it."""
    needed, allowed = abs(reach.needed_s), COVER * reach.known_u_s
    most = min(1.0, allowed / needed) * reach.along if needed > 0 else 1.0
    if needed <= BOTH * math.hypot(reach.needed_u_s, reach.known_u_s) and not reach.aside:
        return Judged("cannot tell", share_most=most, decides="frame's own skew")
    return Judged("not timing" if most < LITTLE else "part", share=most, share_most=most, aside=reach.aside)


def _bounds(needed: float, u: float, known: float, known_u: float) -> tuple[float, float]:
    """Least and most of known / needed, each with 95 % confidence; no bounds where `needed` may be nothing."""
    k = _ONE_SIDED
    square = needed**2 - (k * u) ** 2
    if square <= 0:
        return -math.inf, math.inf
    root = math.sqrt(max((known * needed) ** 2 - square * (known**2 - (k * known_u) ** 2), 0.0))
    return (known * needed - root) / square, (known * needed + root) / square


def _known_u_needed_s(needed: float, u: float) -> float:
    """The standard uncertainty of the skew at which agreement would tell; 0 where none would."""
    lower = (LEAST * needed / _ONE_SIDED) ** 2 - (LEAST * u) ** 2
    upper = ((MOST - 1) * needed / _ONE_SIDED) ** 2 - (MOST * u) ** 2
    # With room for the difference that chance puts between the two.
    return math.sqrt(max(min(lower, upper), 0.0)) / 1.5
