"""Where a ghost will come from: each cause in micrometres and scan pixels, and the one change that helps most."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from coincide.errors import BadInput
from coincide.planning.displacement import across_m, rotation_m, towards_m
from coincide.planning.skew_model import COVER_95, SkewModel
from coincide.planning.subjects import subject_source
from coincide.rig.calibration import BODY_LETTERS
from coincide.rig.model import Body, Rig, Subject
from coincide.rig.stops import aperture_mark, aperture_value
from coincide.rig.tolerance import body_image_distance_m, on_film_tolerance_m
from coincide.rig.trace import Link
from coincide.rig.turning import advice, facing

Cause = Literal["offset error", "jitter", "sweep", "unequal exposure", "hand movement"]


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
class Change:
    """A change to the rig or to the way it is used, and the total it would leave."""

    say: str
    total_then_m: float
    saved_m: float


@dataclass(frozen=True, slots=True)
class Budget:
    """The ghost of one subject in the body where it is largest; 19 of 20 pairs are no worse.

    terms: largest first. total_m: unequal exposure, sweep and hand movement added up, with the root sum of
    squares of jitter and offset error (each at 95 %), since only these two vary independently. best: the
    one change that lowers the total most, None where none is known. body: 0 = A, 1 = B.
    """

    subject: Subject
    body: int
    terms: tuple[Term, ...]
    total_m: float
    total_pixels: float
    allowed_m: float
    best: Change | None
    changes: tuple[Change, ...]
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
    body = max((0, 1), key=lambda index: _metres_per_s(rig.both[index], subject))
    times = _times_s(model, subject)
    terms = _terms(rig, body, subject, times, rate_rad_s, model, shots)
    total_m = _total_m(rig.both[body], subject, times, rate_rad_s, model)
    changes = sorted(
        _changes(rig, body, subject, model, rate_rad_s, total_m, shots), key=lambda one: -one.saved_m
    )
    pitch_m = rig.both[body].scan_pitch_m or math.nan
    chain = (
        *model.chain,
        *_subject_links(rig, body, subject),
        *(Link(f"ghost by {term.cause}", term.on_film_m * 1e6, "um", term.source) for term in terms),
        Link(
            "total",
            total_m * 1e6,
            "um",
            "computed: unequal exposure + sweep + hand + sqrt(jitter^2 + offset^2)",
        ),
    )
    return Budget(
        subject=subject,
        body=body,
        terms=terms,
        total_m=total_m,
        total_pixels=total_m / pitch_m,
        allowed_m=on_film_tolerance_m(rig, body),
        best=changes[0] if changes and changes[0].saved_m > 0.05 * total_m else None,
        changes=tuple(changes),
        chain=chain,
    )


def _metres_per_s(body: Body, subject: Subject) -> float:
    """How fast the subject's image runs over the film."""
    if subject.direction == "across":
        return across_m(
            body_image_distance_m(body, subject.distance_m), subject.distance_m, subject.speed_m_s, 1.0
        )
    height_m = 0.0 if subject.point == "centre" else body.frame.diagonal_m / 2
    return towards_m(height_m, subject.distance_m, subject.speed_m_s, 1.0)


def _times_s(model: SkewModel, subject: Subject) -> dict[Cause, float]:
    return {
        "unequal exposure": model.unequal_s,
        "sweep": model.sweep_s if subject.point == "corner" else 0.0,
        "jitter": COVER_95 * model.jitter_s,
        "offset error": COVER_95 * model.offset_u_s,
    }


def _hand_m(body: Body, rate_rad_s: float, model: SkewModel, subject: Subject) -> float:
    """What no registration removes of a turning rig: the sweeps' difference, where the subject is."""
    if subject.point == "centre":
        return 0.0
    b_m = body_image_distance_m(body, subject.distance_m)
    return rotation_m(b_m, body.frame.diagonal_m / 2, rate_rad_s, model.sweep.after_offset_s)


def _total_m(
    body: Body, subject: Subject, times: dict[Cause, float], rate_rad_s: float, model: SkewModel
) -> float:
    random_s = math.hypot(times["jitter"], times["offset error"])
    steady_s = times["unequal exposure"] + times["sweep"]
    return _metres_per_s(body, subject) * (steady_s + random_s) + _hand_m(body, rate_rad_s, model, subject)


def _terms(
    rig: Rig,
    index: int,
    subject: Subject,
    times: dict[Cause, float],
    rate_rad_s: float,
    model: SkewModel,
    shots: int | None,
) -> tuple[Term, ...]:
    body = rig.both[index]
    pitch_m = body.scan_pitch_m or math.nan
    speed = _metres_per_s(body, subject)
    more = (
        f"fire {3 * shots} more pairs to halve it" if shots else "fire four times as many pairs to halve it"
    )
    about: dict[Cause, tuple[str, str]] = {
        "unequal exposure": (
            "open the aperture of the slower body, so that both times come nearer",
            "computed: image speed times |tA - tB| / 2",
        ),
        "sweep": (
            "mount the bodies so that their curtains run the same way in the scene",
            "computed: image speed times skew in the corner",
        ),
        "jitter": (
            "hold half-press longer, use fresh batteries, leave out the first pair after a rest",
            "computed: image speed times 1.96 jitter",
        ),
        "offset error": (more, "computed: image speed times half the offset's 95 % interval"),
    }
    terms = [
        Term(cause, time_s, speed * time_s, speed * time_s / pitch_m, *about[cause])
        for cause, time_s in times.items()
    ]
    hand_m = _hand_m(body, rate_rad_s, model, subject)
    terms.append(
        Term(
            "hand movement",
            model.sweep.after_offset_s if rate_rad_s else 0.0,
            hand_m,
            hand_m / pitch_m,
            "stand the rig on a tripod",
            "computed: b w (1 + (r/b)^2) times the sweeps' half spread; shift and roll are registered away",
        )
    )
    return tuple(sorted(terms, key=lambda term: -term.on_film_m))


def _changes(
    rig: Rig,
    index: int,
    subject: Subject,
    model: SkewModel,
    rate_rad_s: float,
    total_m: float,
    shots: int | None,
) -> Iterator[Change]:
    """Every change that can be reckoned, each by itself."""
    body = rig.both[index]

    def change(say: str, then: SkewModel, rate: float = rate_rad_s, on: Subject = subject) -> Change:
        then_m = _total_m(body, on, _times_s(then, on), rate, then)
        return Change(
            f"{say}: {total_m * 1e6:.3g} um becomes {then_m * 1e6:.3g} um.", then_m, total_m - then_m
        )

    opening = _opened(rig)
    if opening is not None:
        yield change(opening[0], replace(model, unequal_s=opening[1]))
    turning = advice(rig)
    if turning is not None and (subject.point == "corner" or rate_rad_s):
        half_s = turning.across_then_s / 2
        where = f"looking {turning.mount.looks}, " if turning.moves else ""
        yield change(
            f"Mount {'AB'[turning.body]} {where}with the top plate {facing(turning.mount.top_plate)}",
            replace(model, sweep_s=half_s, sweep=replace(model.sweep, after_offset_s=half_s)),
        )
    more = f"Fire {3 * shots} more pairs" if shots else "Fire four times as many pairs"
    yield change(f"{more} and calibrate with them", replace(model, offset_u_s=model.offset_u_s / 2))
    yield change(
        "Halve the jitter (longer half-press, fresh batteries)", replace(model, jitter_s=model.jitter_s / 2)
    )
    if rate_rad_s:
        yield change("Stand the rig on a tripod", model, 0.0)


def _opened(rig: Rig) -> tuple[str, float] | None:
    """The slower body opened as far as its lens goes, no farther than to the other's time; what is left of blur."""
    times = [body.shutter.exposure.nominal_s for body in rig.both]
    slower = int(np.argmax(times))
    body = rig.both[slower]
    apart = math.log2(max(times) / min(times))
    av = aperture_value(body.lens.aperture)
    by = min(apart, av - aperture_value(body.lens.widest))
    if by < 1 / 3:
        return None
    aperture = max(aperture_mark(av - by), body.lens.widest)
    then_s = max(times) * 2.0**-by
    plural = "" if round(by, 1) == 1.0 else "s"
    say = (
        f"Open {body.name} from f/{body.lens.aperture:g} to f/{aperture:g} and shorten its time by "
        f"{by:.2g} stop{plural}"
    )
    return say, (then_s - min(times)) / 2


def _subject_links(rig: Rig, index: int, subject: Subject) -> tuple[Link, ...]:
    body, key = rig.both[index], f"bodies.{BODY_LETTERS[index]}"
    b_m = body_image_distance_m(body, subject.distance_m)
    links = [
        Link("speed", subject.speed_m_s, "m/s", subject_source(rig, "speed", subject.speed_m_s)),
        Link("distance", subject.distance_m, "m", subject_source(rig, "distance", subject.distance_m)),
        Link("focal length", body.lens.focal_length_m * 1e3, "mm", f"rig: {key}.lens.focal_length"),
        Link("lens to film b", b_m * 1e3, "mm", f"computed: f (1 + m), with rig: {key}.lens.focused"),
    ]
    if subject.direction == "towards":
        half_m = body.frame.diagonal_m / 2
        links.append(Link("image height r", half_m * 1e3, "mm", f"rig: {key}.frame, half the diagonal"))
    formula = "b v / D" if subject.direction == "across" else "r v / D"
    links.append(Link("image speed", _metres_per_s(body, subject) * 1e3, "mm/s", f"computed: {formula}"))
    return tuple(links)
