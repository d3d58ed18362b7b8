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
from coincide.planning.trace import Link
from coincide.planning.verdict import Use, Verdict, verdict
from coincide.rig.model import Subject

NEAREST_FOCUS = 4.0  # focal lengths, as counted from the film: no lens focuses nearer


@dataclass(frozen=True, slots=True)
class Asked:
    """One subject: the verdict on it, what skew it needs, and how near it may come."""

    verdict: Verdict
    inverse: Inverse
    nearest: Nearest

    @property
    def subject(self) -> Subject:
        return self.verdict.use.subject

    @property
    def kept(self) -> bool:
        """Sharp and free of fringes, for the keeper rate asked: the one verdict."""
        return self.verdict.kept


@dataclass(frozen=True, slots=True)
class LimitsPlan:
    """The table of limits, the rig's turning, and one subject (None where there is none)."""

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
    rate_rad_s: float = 0.0,
) -> LimitsPlan:
    """Limits of the rig on this basis. `subject`: the rig's own by default."""
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
        rate_rad_s=rate_rad_s,
    )
    hand = hand_movement(rig, model, rate_rad_s, keeper_rate)
    chosen = subject or rig.tolerance.subject
    if chosen is not None and point == "corner":
        chosen = chosen.model_copy(update={"point": point})
    asked = None if chosen is None else asked_of(Use(rig, model, chosen, rate_rad_s, keeper_rate))
    return LimitsPlan(basis, found, hand, asked)


def asked_of(use: Use) -> Asked:
    """The verdict on one subject, and the same turned round."""
    return Asked(verdict(use), inverse(use), nearest(use))
