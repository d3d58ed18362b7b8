"""How near a moving subject may come: the limits turned round, for a whole list of subjects."""

from __future__ import annotations

from dataclasses import dataclass

from coincide.planning.displacement import nearest_distance_m
from coincide.planning.limits import Point
from coincide.planning.skew_model import SkewModel
from coincide.planning.subjects import EVERYDAY, Everyday
from coincide.rig.model import Rig
from coincide.rig.tolerance import on_film_tolerance_m


@dataclass(frozen=True, slots=True)
class Nearest:
    """Nearest distances, metres, at which a subject across is kept, focused on it, with the lenses in use.

    alone_m: by the skew alone. with_blur_m: with the blur of unequal exposures counted too.
    """

    alone_m: float
    with_blur_m: float


def nearest(
    rig: Rig, model: SkewModel, speed_m_s: float, *, keeper_rate: float = 0.9, point: Point = "centre"
) -> Nearest:
    """For one speed across; the stricter body decides."""
    skew_s = model.skew_for_rate_s(keeper_rate, model.sweep_s if point == "corner" else 0.0)
    return Nearest(_nearest_m(rig, speed_m_s, skew_s), _nearest_m(rig, speed_m_s, skew_s + model.unequal_s))


def everyday_nearest(
    rig: Rig, model: SkewModel, *, keeper_rate: float = 0.9, point: Point = "centre"
) -> tuple[tuple[Everyday, Nearest], ...]:
    """For each everyday subject at the fast end of its rough range."""
    return tuple(
        (one, nearest(rig, model, one.fast_m_s, keeper_rate=keeper_rate, point=point)) for one in EVERYDAY
    )


def _nearest_m(rig: Rig, speed_m_s: float, time_s: float) -> float:
    return max(
        nearest_distance_m(body.lens.focal_length_m, speed_m_s, on_film_tolerance_m(rig, index), time_s)
        for index, body in enumerate(rig.both)
    )
