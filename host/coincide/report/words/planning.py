"""Limits and budget as sentences and rows: for the terminal, the page and the card alike."""

from __future__ import annotations

import math
from collections.abc import Iterable

from coincide.planning.budget import Budget, Term
from coincide.planning.limits import HandMovement, Limits
from coincide.planning.nearest import everyday_nearest
from coincide.planning.plan import Asked
from coincide.planning.skew_model import SkewModel
from coincide.planning.subjects import HELD_RATES_RAD_S
from coincide.planning.trace import Link
from coincide.report.words.figures import KMH, UM, capital, figure, length, plain, where
from coincide.report.words.numbers import ms, percent
from coincide.report.words.verdict import verdict_lines
from coincide.rig.model import Rig
from coincide.rig.optics.tolerance import on_film_tolerance_m

BUDGET_COLUMNS = ("cause", "time, ms", "on film, um", "scan, pixels", "what lowers it")


def skew_line(rig: Rig, found: Limits) -> str:
    """What the table takes for granted, in a sentence."""
    allowed = dict.fromkeys(_allowed_words(rig, index) for index in (0, 1))
    return (
        f"In {percent(found.keeper_rate)} of pairs the skew stays below {ms(found.skew_s, found.skew_s / 10)} "
        f"{where(found.point)}; the two pictures may be {' and '.join(allowed)} apart on film."
    )


def _allowed_words(rig: Rig, index: int) -> str:
    """'30 um (4.7 scan pixels)': a figure for depth of field is many pixels of coloured fringe."""
    allowed_m, pitch_m = on_film_tolerance_m(rig, index), rig.both[index].scan_pitch_m
    pixels = "" if pitch_m is None else f" ({figure(allowed_m / pitch_m)} scan pixels)"
    return f"{figure(allowed_m * UM)} um{pixels}"


def kept_line(model: SkewModel) -> str:
    """What the columns count."""
    unequal = ""
    if model.unequal_s:
        unequal = (
            f", the {ms(model.unequal_s, model.unequal_s / 10)} counted by which one exposure outlasts the other at "
            "each end"
        )
    return (
        "'Kept' is sharp and free of fringes. 'Sharp' counts the subject's own motion during the longer exposure, "
        f"which no offset mends; 'no fringe' how far apart the two outlines are{unequal}; 'by skew alone' only the "
        "part that an offset can change. 'Towards' is taken in the corner."
    )


def limits_columns(found: Limits, model: SkewModel) -> tuple[str, ...]:
    """Headings: distance, what is kept across for each lens and towards, then the parts across."""
    lenses = [f"{plain(f * 1e3)} mm" for f in found.focal_lengths_m]
    fringes = [f"{lens} no fringe, m/s" for lens in lenses] if model.unequal_s else []
    return (
        "distance, m",
        *(f"{lens} kept, m/s" for lens in lenses),
        "towards kept, m/s",
        *fringes,
        *(f"{lens} by skew alone, m/s" for lens in lenses),
    )


def limits_rows(found: Limits, model: SkewModel) -> list[tuple[str, ...]]:
    """A row a distance. 'towards' is the same for every lens: it counts in the corner, by image height."""
    rows = []
    for index, distance_m in enumerate(found.distances_m):
        kept, alone = (
            [figure(value) for value in of[index]] for of in (found.kept_across_m_s, found.across_m_s)
        )
        fringes = [figure(value) for value in found.across_blur_m_s[index]] if model.unequal_s else []
        rows.append((plain(distance_m), *kept, figure(found.kept_towards_m_s[index, 0]), *fringes, *alone))
    return rows


def everyday_columns(model: SkewModel) -> tuple[str, ...]:
    """Headings of the everyday subjects; the unequal exposures only where exposures differ."""
    fringes = ("no fringe, m",) if model.unequal_s else ()
    return ("moving across", "speed, km/h", "kept from, m", "sharp, m", *fringes, "by skew alone, m")


def everyday_rows(rig: Rig, model: SkewModel, found: Limits) -> list[tuple[str, ...]]:
    """Everyday subjects, and from what distance on they are kept at the fast end of their range."""
    everyday = everyday_nearest(
        rig, model, keeper_rate=found.keeper_rate, point=found.point, rate_rad_s=found.rate_rad_s
    )
    return [
        (
            one.name,
            f"{figure(one.slow_m_s * KMH)} to {figure(one.fast_m_s * KMH)}",
            away(near.kept_m),
            away(near.sharp_m),
            *((away(near.with_blur_m),) if model.unequal_s else ()),
            figure(near.alone_m),
        )
        for one, near in everyday
    ]


def away(distance_m: float) -> str:
    """'9.6', or 'never' where no distance is far enough."""
    return "never" if math.isinf(distance_m) else figure(distance_m)


def asked_lines(asked: Asked) -> tuple[str, ...]:
    """One subject: is it kept, by what not, how near may it come; a sentence each."""
    back, near = asked.inverse, asked.nearest
    rate = percent(asked.verdict.use.keeper_rate)
    nearest_kept = "Turned like that, the rig keeps nothing at any distance"
    if math.isfinite(near.kept_m):
        nearest_kept = (
            f"With the lenses and times in use it is kept from {length(near.kept_m)} on (sharp from "
            f"{length(near.sharp_m)}, free of fringes from {length(near.with_blur_m)})"
        )
    lens = ""
    if math.isfinite(back.longest_lens_m):
        lens = f", and at {plain(asked.subject.distance_m)} m the longest lens {length(back.longest_lens_m)}"
    return (
        *verdict_lines(asked.verdict),
        f"{nearest_kept}. 'coincide budget' says what to change.",
        f"By the skew alone, which has to stay below {ms(back.skew_needed_s, back.skew_needed_s / 10)} and in {rate} "
        f"of pairs stays below {ms(back.skew_s, back.skew_s / 10)}, it would be {length(near.alone_m)}{lens}.",
    )


def hand_line(hand: HandMovement) -> str:
    """What turning the rig does; rates by name are rough."""
    rough = [name for name, rate in HELD_RATES_RAD_S.items() if rate == hand.rate_rad_s]
    return f"{capital(rough[0])} (rough): {hand.say[:1].lower()}{hand.say[1:]}" if rough else hand.say


_LITTLE = 0.01  # of the whole ghost


def _little(found: Budget) -> list[Term]:
    return [term for term in found.terms if term.on_film_m < _LITTLE * found.total_m]


def folded(found: Budget) -> tuple[str, ...]:
    """A sentence that names the causes too small to be shown; nothing where there are none."""
    little = [term.cause for term in _little(found)]
    if not little:
        return ()
    return (f"Less than {percent(_LITTLE)} of the ghost: {', '.join(little)}; --explain shows them.",)


def budget_rows(rig: Rig, found: Budget, *, every: bool = True) -> list[tuple[str, ...]]:
    """The causes of the ghost by size, unequal exposure first; then their sum, what is allowed, and each own blur.
    Without `every` what `folded` names is left out."""
    shown = [term for term in found.terms if every or term not in _little(found)]
    first = [term for term in shown if term.cause == "unequal exposure"]
    rest = [term for term in shown if term.cause != "unequal exposure"]
    rows = [_term_row(term) for term in (*first, *rest)]
    rows.append(("together", "", figure(found.total_m * UM), figure(found.total_pixels), ""))
    allowed_pixels = found.allowed_m * found.total_pixels / found.total_m if found.total_m else math.nan
    rows.append(("allowed", "", figure(found.allowed_m * UM), figure(allowed_pixels), ""))
    for body, one in zip(rig.both, found.verdict.bodies, strict=True):
        remedy = "a shorter time" if one.smear_m > one.allowed_m else ""
        pixels = one.smear_m / (body.scan_pitch_m or math.nan)
        exposure_ms = figure(one.exposure_s * 1e3)
        rows.append((f"own blur, {body.name}", exposure_ms, figure(one.smear_m * UM), figure(pixels), remedy))
    return rows


def _term_row(term: Term) -> tuple[str, ...]:
    remedy = "" if term.on_film_m == 0 else term.remedy
    return (
        term.cause,
        figure(term.time_s * 1e3),
        figure(term.on_film_m * UM),
        figure(term.pixels),
        remedy,
    )


def budget_lines(rig: Rig, found: Budget) -> tuple[str, ...]:
    """The sum against what is allowed, the largest cause, and the changes that help most; a sentence each."""
    body = rig.both[found.body]
    pixels = "" if math.isnan(found.total_pixels) else f" ({figure(found.total_pixels)} scan pixels)"
    verdict = "within" if found.verdict.free else "more than"
    said = [
        f"Together {figure(found.total_m * UM)} um{pixels} in {body.name}, in {percent(found.verdict.use.keeper_rate)} "
        f"of pairs no more: {verdict} the {figure(found.allowed_m * UM)} um allowed. Jitter and offset error are taken "
        "for that share of the pairs, as squares, since they vary apart from each other; the rest is added up.",
        f"Largest part of the ghost: {found.largest.cause}, {figure(found.largest.on_film_m * UM)} um.",
    ]
    if found.sharpening is not None:
        said.append(f"To be sharp: {found.sharpening.say}")
    elif not found.verdict.sharp:
        said.append("To be sharp it would take shorter times than the dials have, or a longer distance.")
    if found.best is None:
        said.append("No single change known here lowers the ghost by more than a twentieth.")
    else:
        share = found.best.saved_m / found.total_m
        said.append(f"What helps most against the ghost, by {percent(share)}: {found.best.say}")
        others = [
            one for one in found.changes if one is not found.best and one.saved_m > 0.05 * found.total_m
        ]
        said += [f"Next, each by itself: {one.say}" for one in others]
    return tuple(said)


def chain_lines(chain: Iterable[Link]) -> tuple[str, ...]:
    """Where every number comes from, a line each; what is named twice the same way is said once."""
    return tuple(dict.fromkeys(f"  {link}" for link in chain))
