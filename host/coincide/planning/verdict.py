"""Will the pair look sharp and free of fringes? Reckoned here, once, for every command, page and card that says so.

Two things are asked of each picture. *Free of fringes*: in so many of the pairs the two outlines of the subject are
no farther apart, at either end, than the film allows. *Sharp*: the subject moves no farther during the body's own
exposure. No offset mends the second.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy.special import ndtri

from coincide.planning.displacement import rotation_m
from coincide.planning.skew_model import SkewModel, model_at
from coincide.rig.model import Rig, Subject
from coincide.rig.optics.curtain import time_at
from coincide.rig.optics.geometry import View
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.sweep import common_half, views_of
from coincide.rig.optics.thin_lens import body_image_distance_m, direction_factor
from coincide.rig.optics.tolerance import on_film_tolerance_m

Cause = Literal["skew", "unequal exposure", "sweep", "own motion blur", "rig turning"]
FAST_SHARE = (
    0.02  # of the curtain's pace: a faster image runs away from, or after, the slit while it is exposed
)


@dataclass(frozen=True, slots=True)
class Use:
    """A rig in use on one subject. rate_rad_s: how fast the rig turns. keeper_rate: in how many pairs it is to do."""

    rig: Rig
    model: SkewModel
    subject: Subject
    rate_rad_s: float = 0.0
    keeper_rate: float = 0.9


@dataclass(frozen=True, slots=True)
class OnFilm:
    """What one body's film shows of the subject, metres on that film.

    speed_m_s: of the subject's picture; turning_m_s: of everything's, from the rig's turning, there. skew_s: what
    jitter and offset error stay below; sweep_s, unequal_s: as in SkewModel, at the subject's place. ghost_m: how
    far apart the outlines are at most, in `keeper_rate` of pairs, after registering the scans; skew_m, sweep_m,
    unequal_m, turning_m: its parts, each by itself. blur_m: the subject's own, speed times exposure;
    turning_blur_m: everything's, from the turning. fast_share: the picture's pace over the curtain's; fast_m: how far
    that may put the ghost off.
    """

    allowed_m: float
    speed_m_s: float
    turning_m_s: float
    exposure_s: float
    ghost_m: float
    skew_m: float
    sweep_m: float
    unequal_m: float
    turning_m: float
    blur_m: float
    turning_blur_m: float
    fast_share: float
    fast_m: float

    @property
    def smear_m(self) -> float:
        """All that the picture moves during the exposure, added up: the ways may agree."""
        return self.blur_m + self.turning_blur_m

    def of_cause(self, cause: Cause) -> float:
        """The part of one cause."""
        return {
            "skew": self.skew_m,
            "unequal exposure": self.unequal_m,
            "sweep": self.sweep_m,
            "own motion blur": self.blur_m,
            "rig turning": max(self.turning_m, self.turning_blur_m),
        }[cause]


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether the pair will do. ruling: the largest cause over what is allowed, None where nothing moves on film.

    body: in whose picture the ghost is largest over what is allowed (0 = A, 1 = B).
    """

    use: Use
    bodies: tuple[OnFilm, OnFilm]
    free: bool
    sharp: bool
    ruling: Cause | None
    body: int

    @property
    def kept(self) -> bool:
        """Sharp in both pictures, and free of fringes."""
        return self.free and self.sharp

    @property
    def ghost(self) -> OnFilm:
        """The body with the largest ghost."""
        return self.bodies[self.body]

    @property
    def blur_rules(self) -> bool:
        """Blur, not skew, decides: no offset would help."""
        return self.ruling is not None and self.ruling != "skew"

    @property
    def too_fast(self) -> bool:
        """A picture so fast that the linear reckoning is rough."""
        return max(one.fast_share for one in self.bodies) > FAST_SHARE


def verdict(use: Use) -> Verdict:
    """The verdict on a rig in use. Both bodies are asked; the stricter decides."""
    bodies = (on_film(use, 0), on_film(use, 1))
    body = max((0, 1), key=lambda index: bodies[index].ghost_m / bodies[index].allowed_m)
    causes: tuple[Cause, ...] = ("own motion blur", "unequal exposure", "skew", "sweep", "rig turning")
    sizes = {cause: max(one.of_cause(cause) / one.allowed_m for one in bodies) for cause in causes}
    ruling = max(causes, key=lambda cause: sizes[cause])
    return Verdict(
        use=use,
        bodies=bodies,
        free=all(one.ghost_m <= one.allowed_m for one in bodies),
        sharp=all(one.smear_m <= one.allowed_m for one in bodies),
        ruling=ruling if sizes[ruling] > 0 else None,
        body=body,
    )


def on_film(use: Use, index: int) -> OnFilm:
    """The figures of one body (0 = A, 1 = B)."""
    subject, body = use.subject, use.rig.both[index]
    model = model_at(use.model, use.rig, subject.distance_m)
    corner = subject.point == "corner"
    b_m = body_image_distance_m(body, subject.distance_m)
    views = views_of(use.rig, subject.distance_m)
    x, z = common_half(*views) if corner else (0.0, 0.0)
    speed_m_s = b_m * subject.speed_m_s / subject.distance_m * direction_factor(subject.angle_rad, x, z)
    turning_m_s = float(rotation_m(b_m, x * b_m, z * b_m, use.rate_rad_s, 1.0))
    sweep_s = model.sweep_s if corner else 0.0
    # Registering the scans removes the same turning in all the frame: half the sweeps' spread stays at its ends.
    left_s = model.sweep.after_offset_s if corner else 0.0
    exposure_s = effective_exposure_s(body)
    turned_m = turning_m_s * (model.unequal_s + left_s)
    skew_s = model.skew_for_rate_s(use.keeper_rate, sweep_s)
    share = max(_share_of_pace(view, (speed_m_s + turning_m_s) / b_m, corner) for view in views)
    return OnFilm(
        allowed_m=on_film_tolerance_m(use.rig, index),
        speed_m_s=speed_m_s,
        turning_m_s=turning_m_s,
        exposure_s=exposure_s,
        ghost_m=speed_m_s * (model.unequal_s + skew_s) + turned_m,
        skew_m=speed_m_s * cover(use.keeper_rate) * model.random_s,
        sweep_m=speed_m_s * sweep_s,
        unequal_m=speed_m_s * model.unequal_s,
        turning_m=turned_m,
        blur_m=speed_m_s * exposure_s,
        turning_blur_m=turning_m_s * exposure_s,
        fast_share=share,
        fast_m=(speed_m_s + turning_m_s) * _fast_s(use.rig, views, share, skew_s, corner),
    )


def cover(keeper_rate: float) -> float:
    """How many standard deviations either side hold that share of a normal spread."""
    return float(ndtri(0.5 + keeper_rate / 2))


def _share_of_pace(view: View, tangent_s: float, corner: bool) -> float:
    """How fast a picture runs, tangents a second, over the pace of the slit where it is slowest (0 without a slit)."""
    if view.sweep is None:
        return 0.0
    steps = np.linspace(0.0, 1.0, 21)
    slowness = np.diff(time_at(steps, view.curve)) / np.diff(steps)
    slowest = float(slowness.max() if corner else slowness[9:11].mean())
    return tangent_s * view.travel_s * slowest / (2.0 * view.half_sweep)


def _fast_s(rig: Rig, views: tuple[View, View], share: float, skew_s: float, corner: bool) -> float:
    """By how much a picture at that share of the curtain's pace changes the times between the outlines, at most.

    A slit that runs at pace c over a picture that runs at u passes it 1/(1 - u/c) times as late, counted from where
    both were together: from frame centre, half an exposure and the skew; in a corner half a travel more.
    """
    if share >= 1.0:
        return math.inf
    reach_s = skew_s + sum(effective_exposure_s(body) for body in rig.both) / 2
    if corner:
        reach_s += sum(view.travel_s for view in views) / 2
    return share / (1.0 - share) * reach_s


def focused_on_it(use: Use) -> Use:
    """The same with both lenses focused on the subject, whatever the rig file says."""
    rig = use.rig
    for index, body in enumerate(rig.both):
        rig = rig.with_body(index, lens=body.lens.model_copy(update={"focused_m": None}))
    return replace(use, rig=rig)
