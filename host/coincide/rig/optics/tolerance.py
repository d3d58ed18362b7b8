"""How much skew a keeper may have: from a distance on film and a subject that moves, or given as a time."""

from __future__ import annotations

import math
from dataclasses import dataclass

from coincide.rig.model import Rig, Subject
from coincide.rig.optics.sweep import common_half, views_of
from coincide.rig.optics.thin_lens import (
    PRINT_CONFUSION_PER_DISTANCE,
    body_image_distance_m,
    circle_of_confusion_m,
    direction_factor,
)


@dataclass(frozen=True, slots=True)
class ToleranceFigures:
    """tolerance_s: the largest skew of a keeper, for the design subject at its frame point.

    centre_s, corner_s: the same at frame centre and in the corner; infinite where nothing moves on film, NaN
    where the rig names no subject. on_film_m: of A and of B. how: where both come from, in a sentence.
    """

    tolerance_s: float
    centre_s: float
    corner_s: float
    on_film_m: tuple[float, float]
    how: str


def tolerance_s(rig: Rig) -> float:
    """The largest skew of a keeper, seconds."""
    return tolerance(rig).tolerance_s


def tolerance(rig: Rig) -> ToleranceFigures:
    """The largest skew of a keeper and where it comes from. The stricter body decides."""
    on_film_m = (on_film_tolerance_m(rig, 0), on_film_tolerance_m(rig, 1))
    subject = rig.tolerance.subject
    measure = _measure(rig)
    if rig.tolerance.time_s is not None:
        how = f"given as a time in the rig (tolerance.time); {measure}"
        return ToleranceFigures(rig.tolerance.time_s, math.nan, math.nan, on_film_m, how)
    assert subject is not None  # the rig file is refused without either
    times = {point: _least_time_s(rig, subject, point, on_film_m) for point in ("centre", "corner")}
    how = (
        f"{measure}, which {subject.name} at {subject.speed_m_s:.3g} m/s, {subject.distance_m:.3g} m away "
        f"and moving {subject.direction}, crosses in that time at the frame's {subject.point}"
    )
    return ToleranceFigures(times[subject.point], times["centre"], times["corner"], on_film_m, how)


def _least_time_s(rig: Rig, subject: Subject, point: str, on_film_m: tuple[float, float]) -> float:
    times = [math.inf]
    # The corner of what both see: where only one of them has a picture there is nothing to lie apart.
    x, z = (0.0, 0.0) if point == "centre" else common_half(*views_of(rig, subject.distance_m))
    for body, film_m in zip(rig.both, on_film_m, strict=True):
        b_m = body_image_distance_m(body, subject.distance_m)
        reach_m = b_m * direction_factor(subject.angle_rad, x, z)
        if reach_m > 1e-9 * b_m:
            times.append(film_m * subject.distance_m / (reach_m * subject.speed_m_s))
    return min(times)


def on_film_tolerance_m(rig: Rig, body: int) -> float:
    """How far the two pictures may be apart on the film of a body (0 = A, 1 = B)."""
    asked, one = rig.tolerance, rig.both[body]
    if asked.on_film_m is not None:
        return asked.on_film_m
    if asked.scan_pixels is not None:
        assert one.scan_pitch_m is not None  # the rig file is refused without it
        return asked.scan_pixels * one.scan_pitch_m
    if asked.print is not None:
        enlargement = asked.print.long_side_m / max(one.frame.width_m, one.frame.height_m)
        return asked.print.viewed_from_m * PRINT_CONFUSION_PER_DISTANCE / enlargement
    return circle_of_confusion_m(one.frame.diagonal_m)


def _measure(rig: Rig) -> str:
    asked = rig.tolerance
    if asked.on_film_m is not None:
        return f"{asked.on_film_m * 1e6:.3g} um on film (tolerance.on_film)"
    if asked.scan_pixels is not None:
        return f"{asked.scan_pixels:g} scan pixels (tolerance.scan_pixels)"
    if asked.print is not None:
        return (
            f"sharp in a print of {asked.print.long_side_m:g} m seen from {asked.print.viewed_from_m:g} m "
            "(tolerance.print)"
        )
    return "the format's circle of confusion (0.030 mm on 24 x 36, scaled by the diagonal)"
