"""The verdict on a subject as sentences, the same wherever it is said: kept or not, by what, and what blur does."""

from __future__ import annotations

from coincide.planning.verdict import OnFilm, Verdict
from coincide.report.words.figures import UM, figure, plain, subject_words
from coincide.report.words.numbers import percent


def verdict_line(found: Verdict) -> str:
    """'Not kept: a cyclist ...: own motion blur rules.': the answer, and the cause that rules."""
    answer = "Kept" if found.kept else "Not kept"
    said = f"{answer}: {subject_words(found.use.subject)}."
    if found.ruling is None:
        return f"{said} Nothing moves on film there."
    rules = "rules" if not found.kept else "comes nearest to the limit"
    return f"{said} {found.ruling[:1].upper()}{found.ruling[1:]} {rules}."


def parts_line(found: Verdict) -> str:
    """The own motion blur of each body and the ghost, against what is allowed."""
    names = [body.name for body in found.use.rig.both]
    smears = [f"{um(one.smear_m)} in {name}" for one, name in zip(found.bodies, names, strict=True)]
    turned = ", the turning of the rig in it" if found.use.rate_rad_s else ""
    return (
        f"Sharp: {_yes(found.sharp)}, own motion blur is {smears[0]} and {smears[1]}{turned}. Free of fringes: "
        f"{_yes(found.free)}, the ghost is {um(found.ghost.ghost_m)} in {names[found.body]}, in "
        f"{percent(found.use.keeper_rate)} of pairs no more{_ghost_parts(found.ghost)}. {allowed_words(found)} "
        "are allowed."
    )


def _yes(true: bool) -> str:
    return "yes" if true else "no"


def _ghost_parts(one: OnFilm) -> str:
    """'; unequal exposure 76, skew 18'. A part of a twentieth and less is left out."""
    parts = {
        "unequal exposure": one.unequal_m,
        "skew": one.skew_m,
        "sweep": one.sweep_m,
        "rig turning": one.turning_m,
    }
    large = {name: size for name, size in parts.items() if size > 0.05 * one.ghost_m}
    said = [f"{name} {um(size)}" for name, size in sorted(large.items(), key=lambda part: -part[1])]
    return f" ({', '.join(said)})" if len(said) > 1 else ""


def rules_line(found: Verdict) -> str | None:
    """Said plainly where blur, and not skew, rules; None where skew does or all is well."""
    if found.kept or not found.blur_rules:
        return None
    if found.sharp:
        return None
    return "Blur rules here, not skew: no offset makes it sharp; a shorter time or a longer distance does."


def fast_line(found: Verdict) -> str | None:
    """Where the picture runs so fast that the figures are rough."""
    if not found.too_fast:
        return None
    worst = max(found.bodies, key=lambda one: one.fast_share)
    off = f"may be up to {um(worst.fast_m)} off" if worst.fast_share < 0.5 else "do not hold"
    return (
        f"Its picture runs at {percent(worst.fast_share)} of the curtain's pace: the slit runs after it or away from "
        f"it, and the figures of the ghost {off}."
    )


def verdict_lines(found: Verdict) -> tuple[str, ...]:
    """All of it, the answer first."""
    said = (verdict_line(found), parts_line(found), rules_line(found), fast_line(found))
    return tuple(line for line in said if line)


def card_verdict(found: Verdict) -> str:
    """'At 15 m the first is not kept: own blur 152 / 305 um, ghost 94 um, 30 um allowed.'"""
    blurs = " / ".join(um(one.smear_m).removesuffix(" um") for one in found.bodies)
    kept = "kept" if found.kept else "not kept"
    return (
        f"At {plain(found.use.subject.distance_m)} m the first is {kept}: own blur {blurs} um, ghost "
        f"{um(found.ghost.ghost_m)}, {allowed_words(found)} allowed."
    )


def um(metres: float) -> str:
    """'152 um'."""
    return f"{figure(metres * UM, 3 if metres * UM >= 99.95 else 2)} um"


def allowed_words(found: Verdict) -> str:
    """'30 um', or both where they differ."""
    return " and ".join(dict.fromkeys(um(one.allowed_m) for one in found.bodies))
