"""Limits and budget as sentences and rows: for the terminal, the page and the card alike."""

from __future__ import annotations

import math
from collections.abc import Iterable

from coincide.planning.budget import Budget, Term
from coincide.planning.limits import HandMovement, Limits, Point
from coincide.planning.nearest import everyday_nearest
from coincide.planning.plan import Asked
from coincide.planning.skew_model import SkewModel
from coincide.planning.subjects import HELD_RATES_RAD_S
from coincide.report.words.numbers import ms, percent
from coincide.rig.model import Rig, Subject
from coincide.rig.tolerance import on_film_tolerance_m
from coincide.rig.trace import Link

KMH = 3.6
UM = 1e6
NO_LIMIT = "no limit"
BUDGET_COLUMNS = ("cause", "time, ms", "on film, um", "scan, pixels", "what lowers it")


def figure(value: float, digits: int = 2) -> str:
    """A number to so many significant digits, never with an exponent; 'no limit' where it is infinite."""
    if math.isinf(value):
        return NO_LIMIT
    if not math.isfinite(value):
        return "-"
    if value == 0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(float(f"{value:.{digits - 1}e}"))))
    return f"{round(value, places):.{max(places, 0)}f}"


def plain(value: float) -> str:
    """A number that was given, as it was given: '15', '0.5', '1234'."""
    return f"{value:.6g}"


def speed(speed_m_s: float) -> str:
    """'4.2 m/s (15 km/h)'."""
    return f"{figure(speed_m_s)} m/s ({figure(speed_m_s * KMH)} km/h)"


def length(length_m: float) -> str:
    """'9.6 m', '54 mm', '30 um'."""
    if math.isinf(length_m):
        return NO_LIMIT
    for unit, size in (("m", 1.0), ("mm", 1e-3)):
        if length_m >= size or (unit == "m" and length_m >= 0.95):
            return f"{figure(length_m / size)} {unit}"
    return f"{figure(length_m * UM)} um"


def where(point: Point) -> str:
    """'in frame centre', 'in the worst corner'."""
    return "in the worst corner" if point == "corner" else "in frame centre"


def subject_words(subject: Subject) -> str:
    """'a cyclist on the dyke, across at 4.2 m/s (15 km/h), 15 m away, in frame centre'."""
    return (
        f"{subject.name}, {subject.direction} at {speed(subject.speed_m_s)}, {plain(subject.distance_m)} m away, "
        f"{where(subject.point)}"
    )


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


def blur_line(model: SkewModel) -> str | None:
    """Why there is a column with the blur; None where both exposures are alike."""
    if model.unequal_s == 0:
        return None
    return (
        f"'With blur' counts the {ms(model.unequal_s, model.unequal_s / 10)} by which one exposure outlasts the "
        "other at each end, which shows as a soft coloured edge rather than a second outline. 'Towards' is by the skew "
        "alone, in the corner, and the same for every lens."
    )


def limits_columns(found: Limits, model: SkewModel) -> tuple[str, ...]:
    """Headings: distance, then across for each lens, with blur where exposures differ, and towards."""
    lenses = [f"{plain(f * 1e3)} mm" for f in found.focal_lengths_m]
    blurred = [f"{lens} with blur, m/s" for lens in lenses] if model.unequal_s else []
    return ("distance, m", *(f"{lens} across, m/s" for lens in lenses), *blurred, "towards, m/s")


def limits_rows(found: Limits, model: SkewModel) -> list[tuple[str, ...]]:
    """A row a distance. 'towards' is the same for every lens: it counts in the corner, by image height."""
    rows = []
    for index, distance_m in enumerate(found.distances_m):
        across = [figure(value) for value in found.across_m_s[index]]
        blurred = [figure(value) for value in found.across_blur_m_s[index]] if model.unequal_s else []
        rows.append((plain(distance_m), *across, *blurred, figure(found.towards_m_s[index, 0])))
    return rows


def everyday_columns(model: SkewModel) -> tuple[str, ...]:
    """Headings of the everyday subjects; the blur only where exposures differ."""
    blurred = ("with blur, m",) if model.unequal_s else ()
    return ("moving across", "speed, m/s", "speed, km/h", "kept from, m", *blurred)


def everyday_rows(rig: Rig, model: SkewModel, rate: float, point: Point) -> list[tuple[str, ...]]:
    """Everyday subjects, and from what distance on they are kept at the fast end of their range."""
    return [
        (
            one.name,
            f"{one.slow_m_s:g} to {one.fast_m_s:g}",
            f"{figure(one.slow_m_s * KMH)} to {figure(one.fast_m_s * KMH)}",
            figure(near.alone_m),
            *((figure(near.with_blur_m),) if model.unequal_s else ()),
        )
        for one, near in everyday_nearest(rig, model, keeper_rate=rate, point=point)
    ]


def asked_lines(asked: Asked, rate: float) -> tuple[str, ...]:
    """One subject: is it kept, how near may it come, how long a lens may be; a sentence each."""
    subject, back, near = asked.subject, asked.inverse, asked.nearest
    verdict = "as far as timing goes it is kept" if asked.kept else "it is not kept"
    lens = "any lens will do"
    if math.isfinite(back.longest_lens_m):
        lens = f"the longest lens is {length(back.longest_lens_m)}"
    said = [
        f"{capital(subject_words(subject))}: the skew has to stay below "
        f"{ms(back.skew_needed_s, back.skew_needed_s / 10)}; in {percent(rate)} of pairs it stays below "
        f"{ms(back.skew_s, back.skew_s / 10)}: {verdict}.",
        f"With the lenses in use it may come as near as {length(back.nearest_m)}; at {length(subject.distance_m)} "
        f"{lens}.",
    ]
    if near.with_blur_m > 1.05 * near.alone_m:
        said.append(
            f"But the unequal exposures blur it as well: counting that, it has to stay {length(near.with_blur_m)} "
            "away. 'coincide budget' says what to change."
        )
    return tuple(said)


def hand_line(hand: HandMovement) -> str:
    """What turning the rig does; rates by name are rough."""
    rough = [name for name, rate in HELD_RATES_RAD_S.items() if rate == hand.rate_rad_s]
    return f"{capital(rough[0])} (rough): {hand.say[:1].lower()}{hand.say[1:]}" if rough else hand.say


def budget_rows(found: Budget) -> list[tuple[str, ...]]:
    """Unequal exposure first, since it is usually by far the largest and seldom thought of; then by size."""
    first = [term for term in found.terms if term.cause == "unequal exposure"]
    rest = [term for term in found.terms if term.cause != "unequal exposure"]
    rows = [_term_row(term) for term in (*first, *rest)]
    rows.append(("together", "", figure(found.total_m * UM), figure(found.total_pixels), ""))
    allowed_pixels = found.allowed_m * found.total_pixels / found.total_m if found.total_m else math.nan
    rows.append(("allowed", "", figure(found.allowed_m * UM), figure(allowed_pixels), ""))
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
    """The sum against what is allowed, the largest cause, and the change that helps most; a sentence each."""
    body = rig.both[found.body]
    pixels = "" if math.isnan(found.total_pixels) else f" ({figure(found.total_pixels)} scan pixels)"
    verdict = "within" if within(found) else "more than"
    said = [
        f"Together {figure(found.total_m * UM)} um{pixels} in {body.name}, in 19 of 20 pairs no more: {verdict} the "
        f"{figure(found.allowed_m * UM)} um allowed. Jitter and offset error are taken at 95 % and added as squares, "
        "as they vary apart from each other; the rest is added up.",
        f"Largest: {found.largest.cause}, {figure(found.largest.on_film_m * UM)} um.",
    ]
    if found.best is None:
        said.append("No single change known here lowers it by more than a twentieth.")
    else:
        share = found.best.saved_m / found.total_m
        said.append(f"What helps most, by {percent(share)}: {found.best.say}")
        others = [
            one for one in found.changes if one is not found.best and one.saved_m > 0.05 * found.total_m
        ]
        said += [f"Next, each by itself: {one.say}" for one in others]
    return tuple(said)


def within(found: Budget) -> bool:
    """Whether the ghost stays within what the rig allows on film."""
    return found.total_m <= found.allowed_m


def chain_lines(chain: Iterable[Link]) -> tuple[str, ...]:
    """Where every number comes from, a line each; what is named twice the same way is said once."""
    return tuple(dict.fromkeys(f"  {link}" for link in chain))


def capital(text: str) -> str:
    """The text with its first letter large, to begin a sentence."""
    return text[:1].upper() + text[1:]
