"""Everything `limits` answers about one rig, gathered once for the terminal, the page and the card."""

from __future__ import annotations

from dataclasses import dataclass

from coincide.planning.basis import Basis
from coincide.planning.limits import (
    DISTANCES_M,
    HandMovement,
    Inverse,
    Limits,
    Point,
    hand_movement,
    inverse,
    limits,
)
from coincide.planning.nearest import Nearest, nearest
from coincide.planning.subjects import HELD_RATES_RAD_S
from coincide.rig.model import Subject
from coincide.rig.trace import Link

NEAREST_FOCUS = 4.0  # focal lengths, as counted from the film: no lens focuses nearer


@dataclass(frozen=True, slots=True)
class Asked:
    """One subject across: what it needs, and how near it may come."""

    subject: Subject
    inverse: Inverse
    nearest: Nearest

    @property
    def kept(self) -> bool:
        """The skew stays below what the subject needs, for the keeper rate asked."""
        return self.inverse.skew_s <= self.inverse.skew_needed_s


@dataclass(frozen=True, slots=True)
class LimitsPlan:
    """The table of limits, hand movement, and one subject (None where there is none that moves across)."""

    basis: Basis
    found: Limits
    hand: HandMovement
    asked: Asked | None

    @property
    def chain(self) -> tuple[Link, ...]:
        """Where all of it comes from; what they share is there once."""
        parts = (self.found.chain, () if self.asked is None else self.asked.inverse.chain, self.hand.chain)
        return tuple(dict.fromkeys(link for part in parts for link in part))


def limits_plan(
    basis: Basis,
    *,
    keeper_rate: float = 0.9,
    point: Point = "centre",
    focal_lengths_m: tuple[float, ...] = (),
    subject: Subject | None = None,
    rate_rad_s: float = HELD_RATES_RAD_S["held"],
) -> LimitsPlan:
    """Limits of the rig on this basis. `subject`: the rig's own by default; one that comes nearer is left out."""
    rig, model = basis.rig, basis.model
    lenses = focal_lengths_m or tuple(body.lens.focal_length_m for body in rig.both)
    distances_m = tuple(distance for distance in DISTANCES_M if distance >= NEAREST_FOCUS * max(lenses))
    found = limits(
        rig,
        model,
        keeper_rate=keeper_rate,
        point=point,
        distances_m=distances_m,
        focal_lengths_m=focal_lengths_m or None,
    )
    hand = hand_movement(rig, model, rate_rad_s, keeper_rate)
    chosen = subject or rig.tolerance.subject
    asked = None
    if chosen is not None and chosen.direction == "across":
        asked = _asked(basis, chosen, keeper_rate, point)
    return LimitsPlan(basis, found, hand, asked)


def _asked(basis: Basis, subject: Subject, keeper_rate: float, point: Point) -> Asked:
    back = inverse(
        basis.rig,
        basis.model,
        speed_m_s=subject.speed_m_s,
        distance_m=subject.distance_m,
        keeper_rate=keeper_rate,
        point=point,
    )
    near = nearest(basis.rig, basis.model, subject.speed_m_s, keeper_rate=keeper_rate, point=point)
    return Asked(subject.model_copy(update={"point": point}), back, near)
