"""Where a ghost will come from: each cause in micrometres and scan pixels, and the one change that helps most."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from coincide.errors import BadInput
from coincide.planning.changes import Change, changes, sharpening
from coincide.planning.skew_model import SkewModel, model_at
from coincide.planning.subjects import subject_source
from coincide.planning.trace import Link
from coincide.planning.verdict import Use, Verdict, cover, verdict
from coincide.rig.calibration import BODY_LETTERS
from coincide.rig.model import Body, Rig, Subject
from coincide.rig.optics.thin_lens import body_image_distance_m

Cause = Literal["offset error", "jitter", "sweep", "unequal exposure", "rig turning"]


@dataclass(frozen=True, slots=True)
class Term:
    """One cause: as a time, on film, and in scan pixels (NaN without a scan resolution). remedy: what lowers it."""

    cause: Cause
    time_s: float
    on_film_m: float
    pixels: float
    remedy: str
    source: str


@dataclass(frozen=True, slots=True)
class Budget:
    """The ghost of one subject in the body where it is largest over what is allowed, for the keeper rate asked.

    terms: largest first. total_m: what that share of the pairs stays below: the verdict's own figure. verdict: both
    bodies' ghosts and blurs, and whether the pair will do. best: the one change that lowers the total most, None where
    none lowers it by a twentieth. sharpening: the change that makes both pictures sharp, None where they are or no
    dial goes that far. body: 0 = A, 1 = B.
    """

    subject: Subject
    body: int
    terms: tuple[Term, ...]
    total_m: float
    total_pixels: float
    allowed_m: float
    verdict: Verdict
    best: Change | None
    changes: tuple[Change, ...]
    sharpening: Change | None
    chain: tuple[Link, ...]

    @property
    def largest(self) -> Term:
        return self.terms[0]


def budget(
    rig: Rig,
    model: SkewModel,
    *,
    subject: Subject | None = None,
    rate_rad_s: float = 0.0,
    shots: int | None = None,
    keeper_rate: float = 0.9,
) -> Budget:
    """The budget for a subject, the rig's design subject by default.

    rate_rad_s: how fast the rig turns while it exposes; 0 on a tripod. shots: how many the calibration rests
    on, to say how many more would halve the offset's interval. Raises BadInput without a subject.
    """
    subject = subject or rig.tolerance.subject
    if subject is None:
        raise BadInput(
            "There is no subject to reckon with: give its speed and distance, or add [tolerance.subject] to the rig."
        )
    use = Use(rig, model, subject, rate_rad_s, keeper_rate)
    found = verdict(use)
    total_m = found.ghost.ghost_m
    possible = sorted(changes(use, shots), key=lambda one: -one.saved_m)
    pitch_m = rig.both[found.body].scan_pitch_m or math.nan
    terms = _terms(found, shots)
    chain = (
        *model.chain,
        *_subject_links(found),
        *(Link(f"ghost by {term.cause}", term.on_film_m * 1e6, "um", term.source) for term in terms),
        Link("total", total_m * 1e6, "um", _total_source(found)),
        *(
            Link(
                f"own blur in {letter.upper()}",
                one.smear_m * 1e6,
                "um",
                "computed: image speed times exposure",
            )
            for letter, one in zip(BODY_LETTERS, found.bodies, strict=True)
        ),
    )
    return Budget(
        subject=subject,
        body=found.body,
        terms=terms,
        total_m=total_m,
        total_pixels=total_m / pitch_m,
        allowed_m=found.ghost.allowed_m,
        verdict=found,
        best=possible[0] if possible and possible[0].saved_m > 0.05 * total_m else None,
        changes=tuple(possible),
        sharpening=sharpening(use),
        chain=chain,
    )


def _total_source(found: Verdict) -> str:
    return (
        "computed: unequal exposure + turning + image speed times the |skew| that "
        f"{found.use.keeper_rate:.0%} of pairs stay below, normal about the sweep's part"
    )


def _terms(found: Verdict, shots: int | None) -> tuple[Term, ...]:
    use, one = found.use, found.ghost
    model = model_at(use.model, use.rig, use.subject.distance_m)
    pitch_m = use.rig.both[found.body].scan_pitch_m or math.nan
    wide, corner = cover(use.keeper_rate), use.subject.point == "corner"
    more = (
        f"fire {3 * shots} more pairs to halve it" if shots else "fire four times as many pairs to halve it"
    )
    left_s = model.unequal_s + (model.sweep.after_offset_s if corner else 0.0)
    about: list[tuple[Cause, float, float, str, str]] = [
        (
            "unequal exposure",
            model.unequal_s,
            one.unequal_m,
            "bring both times nearer to each other: open the slower body, stop down the faster",
            "computed: image speed times |tA - tB| / 2",
        ),
        (
            "sweep",
            model.sweep_s if corner else 0.0,
            one.sweep_m,
            "mount the bodies so that their curtains run the same way in the scene",
            "computed: image speed times skew in the corner",
        ),
        (
            "jitter",
            wide * model.jitter_s,
            one.speed_m_s * wide * model.jitter_s,
            "hold half-press longer, use fresh batteries, leave out the first pair after a rest",
            f"computed: image speed times {wide:.3g} jitter",
        ),
        (
            "offset error",
            wide * model.offset_u_s,
            one.speed_m_s * wide * model.offset_u_s,
            more,
            f"computed: image speed times {wide:.3g} times the offset's standard uncertainty",
        ),
        (
            "rig turning",
            left_s if use.rate_rad_s else 0.0,
            one.turning_m,
            "stand the rig on a tripod",
            "computed: b w, more towards the corner, times |tA - tB| / 2, in the corner and the sweeps' half spread",
        ),
    ]
    terms = [
        Term(cause, time_s, film_m, film_m / pitch_m, remedy, source)
        for cause, time_s, film_m, remedy, source in about
    ]
    return tuple(sorted(terms, key=lambda term: -term.on_film_m))


def _subject_links(found: Verdict) -> tuple[Link, ...]:
    rig, subject = found.use.rig, found.use.subject
    body: Body = rig.both[found.body]
    key = f"bodies.{BODY_LETTERS[found.body]}"
    b_m = body_image_distance_m(body, subject.distance_m)
    links = [
        Link("speed", subject.speed_m_s, "m/s", subject_source(rig, "speed", subject.speed_m_s)),
        Link("distance", subject.distance_m, "m", subject_source(rig, "distance", subject.distance_m)),
        Link("focal length", body.lens.focal_length_m * 1e3, "mm", f"rig: {key}.lens.focal_length"),
        Link("lens to film b", b_m * 1e3, "mm", f"computed: f (1 + m), with rig: {key}.lens.focused"),
    ]
    formula = "b v / D"
    if subject.direction == "towards":
        half_m = found.ghost.speed_m_s * subject.distance_m / subject.speed_m_s
        links.append(
            Link(
                "image height r", half_m * 1e3, "mm", "computed: the corner of the field that both bodies see"
            )
        )
        formula = "r v / D"
    elif subject.direction != "across":
        formula = "b v / D, by the direction and the place in the frame"
    links.append(Link("image speed", found.ghost.speed_m_s * 1e3, "mm/s", f"computed: {formula}"))
    return tuple(links)
