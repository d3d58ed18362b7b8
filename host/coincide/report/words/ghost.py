"""Was it timing? The answer in sentences."""

from __future__ import annotations

import math

from coincide.ghost.explain import Explanation, Implied, Known
from coincide.report.words.numbers import ms, percent

THING_COLUMNS = (
    "thing",
    "apart, um",
    "speed, m/s",
    "away, m",
    "skew there, ms",
    "skew at centre, ms",
    "+-, ms",
)


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
        "unknown" if thing.speed_m_s is None else f"{thing.speed_m_s:.3g}",
        f"{thing.distance_m:.4g}",
        f"{(one.skew_s + one.sweep_s) * 1e3:+.2f}" if timed else "-",
        f"{one.skew_s * 1e3:+.2f}" if timed else "-",
        f"{2 * one.u_s * 1e3:.2f}" if timed else "-",
    ]


def explanation_lines(found: Explanation) -> list[str]:
    """The verdict first, then the numbers it rests on."""
    lines = [_verdict(found)]
    if math.isfinite(found.skew_s):
        lines.append(_implied(found))
    if found.known is not None:
        lines.append(_known(found.known))
    lines += [_needed(one, found.known) for one in found.implied if one.thing.speed_m_s is None]
    if found.freedom and found.verdict != "contradictory":
        lines.append(
            f"{found.freedom + 1} things of known speed agree with one skew (chi-square {found.misfit:.1f} on "
            f"{found.freedom})."
        )
    return lines


def _verdict(found: Explanation) -> str:
    if found.verdict == "timing":
        return "Timing explains it."
    if found.verdict == "part":
        at_most = "" if found.known is not None and found.known.own else "at most "
        return f"Timing explains {at_most}{percent(found.share)} of it; the rest has another cause."
    if found.verdict == "stood still":
        return (
            "Not timing: it is on things that stood still. Look for a rig that gave, parallax, or scans that "
            "were registered on something that moved."
        )
    if found.verdict == "not timing":
        return "Not timing: the skew was far from what this ghost needs, or of the other sign."
    if found.verdict == "contradictory":
        return (
            f"The things contradict each other (chi-square {found.misfit:.1f} on {found.freedom}): no single skew "
            "makes them all. A speed, a distance or a direction is wrong, or one of them is no timing ghost."
        )
    if math.isfinite(found.skew_s):
        return "Whether it was timing stays open: nothing is known of the skew to compare with."
    return "Whether it was timing stays open: no speed is known. Judge whether the speeds below are likely."


def _implied(found: Explanation) -> str:
    size = f"{ms(abs(found.skew_s), 2 * found.u_s)} +- {ms(2 * found.u_s, 2 * found.u_s)} (95 %)"
    if not found.signed:
        return f"It takes a skew of {size} at frame centre; which body was late its size alone cannot say."
    late = "B" if found.skew_s > 0 else "A"
    return f"It takes a skew of {size} at frame centre, body {late} late."


def _known(known: Known) -> str:
    if known.own:
        late = "B" if known.skew_s > 0 else "A"
        return f"Measured: {ms(abs(known.skew_s), known.u_s)} with body {late} late ({known.source})."
    return f"The rig keeps its skew within {ms(2 * known.u_s, known.u_s)} in 95 % of pairs ({known.source})."


def _needed(one: Implied, known: Known | None) -> str:
    name = one.thing.name
    if known is None or not math.isfinite(one.needed_m_s):
        return f"{name}: its speed is unknown and so is the skew; give one of them."
    fit = (
        "for the measured skew to explain it" if known.own else "at least for the rig's jitter to explain it"
    )
    needed = one.needed_m_s
    return f"{name}: would have to move at {needed:.2g} m/s ({needed * 3.6:.2g} km/h) {fit}. Likely?"
