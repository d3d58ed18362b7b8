"""How near a moving subject may come: the verdict turned round, for a whole list of subjects."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from coincide.planning.displacement import nearest_distance_m
from coincide.planning.skew_model import SkewModel
from coincide.planning.subjects import EVERYDAY, Everyday
from coincide.planning.verdict import OnFilm, Use, focused_on_it, on_film
from coincide.rig.model import Rig, Subject

ROUNDS = 4  # the skew in the corner of unlike lenses hangs a little on the distance; it settles at once
FAR_M = 1e5  # as good as infinity for any lens


@dataclass(frozen=True, slots=True)
class Nearest:
    """Nearest distances, metres, at which a subject is kept, focused on it, with the lenses in use; the stricter body.

    alone_m: by the skew alone. with_blur_m: free of fringes, the unequal exposures (and the rig's turning) counted.
    sharp_m: by the subject's own motion blur. Infinite where the turning alone is too much.
    """

    alone_m: float
    with_blur_m: float
    sharp_m: float

    @property
    def kept_m(self) -> float:
        """Sharp, and free of fringes."""
        return max(self.with_blur_m, self.sharp_m)


def nearest(use: Use) -> Nearest:
    """For the subject of a rig in use; its own distance does not matter."""
    return Nearest(
        _nearest_m(use, lambda one: (one.ghost_m - one.unequal_m - one.turning_m, one.allowed_m)),
        _nearest_m(use, lambda one: (one.ghost_m - one.turning_m, one.allowed_m - one.turning_m)),
        _nearest_m(use, lambda one: (one.blur_m, one.allowed_m - one.turning_blur_m)),
    )


def everyday_nearest(
    rig: Rig,
    model: SkewModel,
    *,
    keeper_rate: float = 0.9,
    point: str = "centre",
    rate_rad_s: float = 0.0,
) -> tuple[tuple[Everyday, Nearest], ...]:
    """For each everyday subject across, at the fast end of its rough range."""
    return tuple(
        (one, nearest(Use(rig, model, crossing(one.name, one.fast_m_s, point), rate_rad_s, keeper_rate)))
        for one in EVERYDAY
    )


def crossing(name: str, speed_m_s: float, point: str = "centre", distance_m: float = 100.0) -> Subject:
    """A subject that goes across."""
    own = {"name": name, "speed": f"{speed_m_s!r} m/s", "distance": f"{distance_m!r} m", "point": point}
    return Subject.model_validate(own)


def _nearest_m(use: Use, parts: Callable[[OnFilm], tuple[float, float]]) -> float:
    """Where what moves with the subject just fills what is allowed for it."""
    distance_m = FAR_M
    inside_m = 2.0 * max(body.lens.focal_length_m for body in use.rig.both)
    for _ in range(ROUNDS):
        there_m = max(distance_m, inside_m)  # what hardly moves may come nearer than any lens can focus
        there = use.subject.model_copy(update={"distance_m": there_m})
        focused = focused_on_it(replace(use, subject=there))
        found = []
        for index, body in enumerate(use.rig.both):
            one = on_film(focused, index)
            moved_m, allowed_m = parts(one)
            if allowed_m <= 0:
                return math.inf
            # v T, in the scene: what it moves on film over the image's size there.
            f_m = body.lens.focal_length_m
            moved_there_m = moved_m * (there_m - f_m) / f_m
            found.append(nearest_distance_m(f_m, moved_there_m, allowed_m, 1.0))
        distance_m = max(found)
    return distance_m
