"""Was it timing? The answer in sentences."""

from __future__ import annotations

import math

from coincide.ghost.causes import Candidate
from coincide.ghost.evidence import Known
from coincide.ghost.explain import Explanation, Implied
from coincide.ghost.verdict import COVER, Judged
from coincide.report.words.numbers import ms, percent

THING_COLUMNS = (
    "thing",
    "apart, um",
    "aside, um",
    "speed, m/s",
    "away, m",
    "skew there, ms",
    "skew at centre, ms",
    "+- (95 %), ms",
)

CAUSE_COLUMNS = ("thing", "cause", "would make, um", "+- (95 %), um", "fits", "how it looks")
_LOOKS = {
    "skew": "the whole thing twice: one colour stands out in front, the other behind",
    "sweep": "as skew, growing from the frame's centre to its edges",
    "unequal exposure": "a soft edge in front and behind alike, one colour at both ends: the longer exposure's",
}


def thing_rows(found: Explanation) -> list[list[str]]:
    """One row a thing."""
    return [_row(one) for one in found.implied]


def _row(one: Implied) -> list[str]:
    thing = one.thing
    sign = "+" if thing.signed else ""
    timed = math.isfinite(one.skew_s)
    return [
        thing.name,
        f"{thing.apart_m * 1e6:{sign}.1f}",
        f"{thing.aside_m * 1e6:+.1f}" if thing.aside_m else "-",
        "unknown" if thing.speed_m_s is None else f"{thing.speed_m_s:.3g}",
        f"{thing.distance_m:.4g}",
        f"{(one.skew_s + one.sweep_s) * 1e3:+.2f}" if timed else "-",
        f"{one.skew_s * 1e3:+.2f}" if timed else "-",
        f"{COVER * one.u_s * 1e3:.2f}" if timed else "-",
    ]


def cause_rows(found: Explanation, names: tuple[str, str]) -> list[list[str]]:
    """One row a thing and cause, where a cause can be reckoned; then how far each smears by itself in either picture,
    which makes no fringe but softens what the ghost is seen by. names: of the bodies."""
    return [*_causes(found), *(row for one in found.implied for row in _blurs(one, names))]


def _blurs(one: Implied, names: tuple[str, str]) -> list[list[str]]:
    relative = math.hypot(one.thing.speed_u, one.thing.distance_u)
    return [
        [
            one.thing.name,
            f"own blur in {name}",
            f"{blur_m * 1e6:.1f}",
            f"{COVER * relative * blur_m * 1e6:.1f}",
            "-",
            "a smear along its way within this one picture: no fringe, and no offset changes it",
        ]
        for name, blur_m in zip(names, one.blur_m, strict=True)
        if blur_m > 0.0
    ]


def _causes(found: Explanation) -> list[list[str]]:
    return [
        [
            one.thing.name,
            cause.cause,
            f"{'up to ' if cause.at_most else ''}{cause.size_m * 1e6:.1f}",
            f"{COVER * cause.u_m * 1e6:.1f}",
            "yes" if cause.fits else "no",
            _LOOKS[cause.cause],
        ]
        for one in found.implied
        for cause in one.candidates
        if math.isfinite(cause.size_m)
    ]


def explanation_lines(found: Explanation) -> list[str]:
    """The verdict first, then the numbers it rests on."""
    lines = [_verdict(found)]
    if math.isfinite(found.skew_s):
        lines.append(_implied(found))
    if found.known is not None:
        lines.append(_known(found.known))
    lines += _decides(found.judged)
    lines += _ends(found)
    if found.still_m and found.judged.verdict != "stood still":
        lines.append(
            f"What stood still is displaced by {found.still_m * 1e6:.0f} um: the rig gave, there is parallax, or "
            "the scans lie amiss. That much is not timing; it is reckoned as uncertainty of what moved."
        )
    lines += [_needed(one, found.known) for one in found.implied if one.thing.speed_m_s is None]
    if found.freedom and found.judged.verdict != "contradictory":
        lines.append(
            f"{found.freedom + 1} things of known speed agree with one skew (chi-square {found.misfit:.1f} on "
            f"{found.freedom})."
        )
    return lines


_SENTENCES = {
    "timing": "Timing explains it.",
    "stood still": "Not timing: it is on things that stood still. Look for a rig that gave, parallax, or scans that "
    "were registered on something that moved.",
}


def _verdict(found: Explanation) -> str:
    judged = found.judged
    if judged.verdict in _SENTENCES:
        return _SENTENCES[judged.verdict]
    if judged.verdict == "part":
        return f"Timing explains {_share(judged)} of it; the rest has another cause{_aside(judged)}."
    if judged.verdict == "not timing":
        if judged.aside:
            return f"Not timing: it lies across the way the thing went{_at_most(judged)}."
        return f"Not timing: the skew was far from what this ghost needs, or of the other sign{_at_most(judged)}."
    if judged.verdict == "unequal exposure":
        return (
            f"Not the skew alone: unequal exposures make an edge of this size, {_at_each_end(found)}. "
            "Look at both ends of the thing."
        )
    if judged.verdict == "too large":
        much = f"{judged.times:.2g} times this ghost" if judged.times < 50 else "a far larger ghost"
        return (
            f"Timing does not fit: the measured skew would have made {much}. The speed, the distance or "
            "the way is wrong, or something else took it back."
        )
    if judged.verdict == "cannot tell":
        return f"Cannot tell whether it was timing: {_REASONS[judged.decides]}."
    if judged.verdict == "contradictory":
        return (
            f"The things contradict each other (chi-square {found.misfit:.1f} on {found.freedom}): no single skew "
            "makes them all. A speed, a distance or a direction is wrong, or one of them is no timing ghost."
        )
    if math.isfinite(found.skew_s):
        return "Whether it was timing stays open: nothing is known of the skew to compare with."
    return "Whether it was timing stays open: no speed is known. Judge whether the speeds below are likely."


_REASONS = {
    "skew": "the skew is known too roughly; it would agree with half this ghost, or with twice it, as well",
    "frame's own skew": "the rig's jitter could have made it, and so could something else",
    "sign": "its size fits, and the other way round it would not",
    "place": "in a corner the sweeps of the curtains make as much, and where the thing stood was not said",
    "thing": "the thing itself is known too roughly for any skew to decide",
}


def _share(judged: Judged) -> str:
    least, most = judged.share_least, judged.share_most
    if math.isfinite(least) and least >= 0.05 and percent(least) != percent(most):
        return f"{percent(least)} to {percent(most)}"
    return f"at most {percent(most)}"


def _at_most(judged: Judged) -> str:
    return f"; at most {percent(judged.share_most)} of it can be" if judged.share_most >= 0.02 else ""


def _aside(judged: Judged) -> str:
    return ", and lies partly across the way the thing went" if judged.aside else ""


def _decides(judged: Judged) -> list[str]:
    if judged.verdict != "cannot tell":
        return []
    if judged.decides == "skew":
        within = COVER * judged.known_u_needed_s
        return [
            f"What would decide: a skew known within {ms(within, within)} (95 %), as gate sensors calibrate it; or a "
            "second thing of known speed, going another way."
        ]
    if judged.decides == "sign":
        return ["What would decide: a sign before APART, + where B shows it further along its way."]
    if judged.decides == "place":
        return ["What would decide: its place, --at X Y as fractions of the frame from the left and the top."]
    if judged.decides == "frame's own skew":
        return [
            "What would decide: the frame's own skew, from the frame log (--frames and --frame) or --skew."
        ]
    return [
        "What would decide: its speed, distance or displacement known better, or a thing that is displaced further."
    ]


def _unequal(found: Explanation) -> list[Candidate]:
    return [
        cause
        for one in found.implied
        for cause in one.candidates
        if cause.cause == "unequal exposure" and cause.fits
    ]


def _at_each_end(found: Explanation) -> str:
    return " and ".join(f"{one.size_m * 1e6:.0f} um" for one in _unequal(found)) + " at each end"


def _ends(found: Explanation) -> list[str]:
    """How to tell unequal exposures from skew by looking, where their size fits as well."""
    if not _unequal(found):
        return []
    edges = (
        "Unequal exposures leave a soft edge of one colour in front and behind alike, the colour of the body that "
        "exposes longer; skew shows one colour in front and the other behind. Open that body's aperture and shorten "
        "its time."
    )
    if found.judged.verdict == "unequal exposure":
        return [edges]
    return [f"Unequal exposures would make an edge of this size too, {_at_each_end(found)}. {edges}"]


def _implied(found: Explanation) -> str:
    size = f"{ms(abs(found.skew_s), COVER * found.u_s)} +- {ms(COVER * found.u_s, COVER * found.u_s)} (95 %)"
    if not found.signed:
        return f"It takes a skew of {size} at frame centre; which body was late its size alone cannot say."
    late = "B" if found.skew_s > 0 else "A"
    return f"It takes a skew of {size} at frame centre, body {late} late."


def _known(known: Known) -> str:
    if known.own:
        late = "B" if known.skew_s > 0 else "A"
        return (
            f"Measured: {ms(abs(known.skew_s), known.u_s)} +- {ms(COVER * known.u_s, known.u_s)} (95 %) with body "
            f"{late} late ({known.source})."
        )
    return (
        f"The rig keeps its skew within {ms(COVER * known.u_s, known.u_s)} in 95 % of pairs ({known.source})."
    )


def _needed(one: Implied, known: Known | None) -> str:
    name = one.thing.name
    if known is None or not math.isfinite(one.needed_m_s):
        return f"{name}: its speed is unknown and so is the skew; give one of them."
    fit = (
        "for the measured skew to explain it" if known.own else "at least for the rig's jitter to explain it"
    )
    needed = one.needed_m_s
    return f"{name}: would have to move at {needed:.2g} m/s ({needed * 3.6:.2g} km/h) {fit}. Likely?"
