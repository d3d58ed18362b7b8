"""What this rig can photograph: the fastest subject, the nearest distance, the longest lens, for a keeper rate."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput
from coincide.planning.displacement import longest_lens_m
from coincide.planning.nearest import FAR_M, crossing, nearest
from coincide.planning.skew_model import SkewModel, model_at
from coincide.planning.subjects import EVERYDAY, Everyday, subject_source
from coincide.planning.trace import Link
from coincide.planning.verdict import Use, focused_on_it, on_film
from coincide.rig.model import Rig
from coincide.rig.optics.sweep import common_half, views_of
from coincide.rig.optics.tolerance import on_film_tolerance_m

Array = npt.NDArray[np.float64]
Point = Literal["centre", "corner"]

DISTANCES_M = (2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True)
class Limits:
    """The fastest subject by distance and lens, for a keeper rate, at a frame point; lenses focused on it.

    distances_m (n,), focal_lengths_m (k,). kept_across_m_s, kept_towards_m_s (n, k): sharp and free of fringes, all
    counted; 0 where the rig's turning alone is too much. across_m_s, towards_m_s (n, k): by the skew alone.
    across_blur_m_s (n, k): with the unequal exposures counted too. sharp_m_s (n, k): by the subject's own blur alone.
    towards is taken in the corner, where it is worst. skew_s: the |skew| that the keeper rate stays below at that
    point. everyday: rough speeds to lay beside them.
    """

    keeper_rate: float
    point: Point
    rate_rad_s: float
    skew_s: float
    distances_m: Array
    focal_lengths_m: Array
    kept_across_m_s: Array
    kept_towards_m_s: Array
    across_m_s: Array
    across_blur_m_s: Array
    sharp_m_s: Array
    towards_m_s: Array
    everyday: tuple[Everyday, ...]
    chain: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class Inverse:
    """The same turned round, for one subject. skew_needed_s: what the skew would have to stay below, as if nothing
    else counted; nearest_m: how near the subject may come by that with the lens in use; longest_lens_m: how long a
    lens may be."""

    skew_s: float
    skew_needed_s: float
    nearest_m: float
    longest_lens_m: float
    chain: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class HandMovement:
    """The rig turned while the two bodies exposed; metres on film, in the worst place of the frame.

    shift_m: the whole picture's shift between the frames, which registration removes. bend_m: what the corner
    moves more than the centre, which a shift alone does not remove. left_m: what no registration of whole frames
    removes, from the sweeps' difference over the frame and from unequal exposures. unequal_m: the latter alone, in
    frame centre. blur_m: each body's own blur of everything, in frame centre. rate_rad_s: how fast it turned.
    """

    rate_rad_s: float
    shift_m: float
    bend_m: float
    left_m: float
    unequal_m: float
    blur_m: tuple[float, float]
    say: str
    chain: tuple[Link, ...]


def limits(
    rig: Rig,
    model: SkewModel,
    *,
    keeper_rate: float = 0.9,
    point: Point = "centre",
    distances_m: tuple[float, ...] = DISTANCES_M,
    focal_lengths_m: tuple[float, ...] | None = None,
    rate_rad_s: float = 0.0,
) -> Limits:
    """The fastest subjects. Without focal lengths, those of the rig's lenses; the stricter body decides."""
    skew_s = model.skew_for_rate_s(keeper_rate, model.sweep_s if point == "corner" else 0.0)
    own = sorted({body.lens.focal_length_m for body in rig.both})
    lenses = np.array(focal_lengths_m if focal_lengths_m else own, float)
    distances = np.array(distances_m, float)
    if np.any(distances <= lenses.max()):
        raise BadInput(
            f"A distance of {distances.min():g} m lies inside the focal length of {lenses.max() * 1e3:g} mm: "
            "leave it out."
        )
    across = np.zeros((distances.size, lenses.size, len(_REASONS)))
    towards = np.zeros_like(across)
    for column, focal_m in enumerate(lenses):
        fitted = rig if focal_m in own and len(own) == 1 else _fitted(rig, float(focal_m))
        for row, distance_m in enumerate(distances):
            slow = crossing("a subject", 1.0, point, float(distance_m))
            use = focused_on_it(Use(fitted, model, slow, rate_rad_s, keeper_rate))
            across[row, column] = _fastest_m_s(use)
            coming = slow.model_copy(update={"direction": "towards", "point": "corner"})
            towards[row, column] = _fastest_m_s(replace(use, subject=coming))
    chain = (
        *model.chain,
        *_tolerance_links(rig),
        _skew_link(keeper_rate, point, skew_s),
        *(_lens_links(rig) if not focal_lengths_m else _given_lens_links(lenses)),
        *_first_row_links(rig, model, distances, lenses, across[0, 0], towards[0, 0], keeper_rate),
    )
    return Limits(
        keeper_rate=keeper_rate,
        point=point,
        rate_rad_s=rate_rad_s,
        skew_s=skew_s,
        distances_m=distances,
        focal_lengths_m=lenses,
        kept_across_m_s=across[:, :, 1:].min(axis=2),
        kept_towards_m_s=towards[:, :, 1:].min(axis=2),
        across_m_s=across[:, :, 0],
        across_blur_m_s=across[:, :, 1],
        sharp_m_s=across[:, :, 2],
        towards_m_s=towards[:, :, 0],
        everyday=EVERYDAY,
        chain=chain,
    )


_REASONS = ("skew alone", "fringes", "own blur")


def _fastest_m_s(use: Use) -> tuple[float, float, float]:
    """The fastest by each of `_REASONS`, for a subject of 1 m/s in `use`: all of it grows with the speed."""
    fastest = np.full(len(_REASONS), np.inf)
    for one in (on_film(use, 0), on_film(use, 1)):
        moved_m = np.array(
            [one.ghost_m - one.unequal_m - one.turning_m, one.ghost_m - one.turning_m, one.blur_m]
        )
        left_m = one.allowed_m - np.array([0.0, one.turning_m, one.turning_blur_m])
        with np.errstate(divide="ignore"):  # no skew: any speed
            fastest = np.minimum(fastest, np.where(left_m > 0, left_m / moved_m, 0.0))
    return float(fastest[0]), float(fastest[1]), float(fastest[2])


def _fitted(rig: Rig, focal_m: float) -> Rig:
    """The rig with such a lens on both bodies."""
    for index, body in enumerate(rig.both):
        rig = rig.with_body(index, lens=body.lens.model_copy(update={"focal_length_m": focal_m}))
    return rig


def inverse(use: Use) -> Inverse:
    """For a subject at a speed and distance. The stricter body decides."""
    rig, subject = use.rig, use.subject
    if subject.speed_m_s <= 0:
        raise BadInput("A subject that does not move has no limit: give a speed such as '5 km/h'.")
    model = model_at(use.model, rig, subject.distance_m)
    skew_s = model.skew_for_rate_s(use.keeper_rate, model.sweep_s if subject.point == "corner" else 0.0)
    needed, longest = [], []
    for index in (0, 1):
        one = on_film(use, index)
        f_m = rig.both[index].lens.focal_length_m
        needed.append(one.allowed_m / one.speed_m_s)
        # As the lens in use, another focal length makes the picture larger by m = f / (D - f) alone.
        moved_m = one.speed_m_s * skew_s * (subject.distance_m - f_m) / f_m
        longest.append(
            longest_lens_m(subject.distance_m, moved_m, one.allowed_m, 1.0) if skew_s else math.inf
        )
    near = nearest(use)
    chain = (
        *model.chain,
        *_tolerance_links(rig),
        *_lens_links(rig),
        Link("speed", subject.speed_m_s, "m/s", subject_source(rig, "speed", subject.speed_m_s)),
        Link("distance", subject.distance_m, "m", subject_source(rig, "distance", subject.distance_m)),
        _skew_link(use.keeper_rate, subject.point, skew_s),
        Link("skew needed", min(needed) * 1e3, "ms", "computed: d D / (b v)"),
        Link("nearest distance by the skew alone", near.alone_m, "m", "computed: f (1 + v T / d)"),
        Link(
            "nearest distance, free of fringes",
            near.with_blur_m,
            "m",
            "computed: the same, with T + |tA - tB| / 2",
        ),
        Link("nearest distance, sharp", near.sharp_m, "m", "computed: f (1 + v t / d), t the exposure"),
        Link(
            "longest lens by the skew alone",
            min(longest) * 1e3,
            "mm",
            "computed: D m / (1 + m), m = d / (v T)",
        ),
    )
    return Inverse(skew_s, min(needed), near.alone_m, min(longest), chain)


_LEFT = "computed: b w, more in the corner, times |tA - tB| / 2 and the sweeps' half spread"


def hand_movement(rig: Rig, model: SkewModel, rate_rad_s: float, keeper_rate: float = 0.9) -> HandMovement:
    """What turning the rig at a rate does to the pair: removable by registration, and not. Focused far away."""
    skew_s = model.skew_for_rate_s(keeper_rate, 0.0)
    still = crossing("everything", 0.001, "corner", FAR_M)
    shifts, bends, lefts, unequals, blurs = [], [], [], [], []
    for index in (0, 1):
        there = Use(rig, model, still, rate_rad_s, keeper_rate)
        corner = on_film(there, index)
        centre = on_film(replace(there, subject=still.model_copy(update={"point": "centre"})), index)
        shifts.append(centre.turning_m_s * skew_s)
        bends.append((corner.turning_m_s - centre.turning_m_s) * skew_s)
        lefts.append(corner.turning_m)
        unequals.append(centre.turning_m)
        blurs.append(centre.turning_blur_m)
    left = "nothing is left, since neither sweeps nor exposures differ."
    if max(lefts) > 0:
        both = {
            "the difference of the sweeps": model.sweep.after_offset_s,
            "the unequal exposures": model.unequal_s,
        }
        causes = " and ".join(name for name, size_s in both.items() if size_s > 0)
        inner = f" ({max(unequals) * 1e6:.2g} um in frame centre)" if max(unequals) > 0 else ""
        left = (
            f"up to {max(lefts) * 1e6:.2g} um in the frame's corner{inner} are left, from {causes}, "
            "which no registration of whole frames removes."
        )
    each = " and ".join(
        f"{blur * 1e6:.2g} um in {body.name}" for blur, body in zip(blurs, rig.both, strict=True)
    )
    say = (
        f"Turning at {np.degrees(rate_rad_s):.2g} degrees a second shifts the frames by {max(shifts) * 1e6:.2g} um "
        f"against each other, which registering the scans removes, and rolling as well; {left} "
        f"It blurs everything by {each}."
    )
    chain = (
        *model.chain,
        Link("rate of turning", float(np.degrees(rate_rad_s)), "deg/s", "given, or rough"),
        Link("skew in most pairs", skew_s * 1e3, "ms", f"computed: |skew| that {keeper_rate:.0%} stay below"),
        Link("shift", max(shifts) * 1e6, "um", "computed: b w T"),
        Link(
            "bend in the corner",
            max(bends) * 1e6,
            "um",
            "computed: b w T times what the projection adds there",
        ),
        Link(
            "left",
            max(lefts) * 1e6,
            "um",
            _LEFT,
        ),
        Link("left in frame centre", max(unequals) * 1e6, "um", "computed: b w |tA - tB| / 2"),
    )
    return HandMovement(
        rate_rad_s, max(shifts), max(bends), max(lefts), max(unequals), (blurs[0], blurs[1]), say, chain
    )


def _lens_links(rig: Rig) -> tuple[Link, ...]:
    return tuple(
        Link(
            f"lens of {letter}",
            body.lens.focal_length_m * 1e3,
            "mm",
            f"rig: bodies.{letter.lower()}.lens.focal_length",
        )
        for letter, body in zip("AB", rig.both, strict=True)
    )


def _given_lens_links(lenses: Array) -> tuple[Link, ...]:
    return tuple(Link("lens", float(f_m) * 1e3, "mm", "given") for f_m in lenses)


def _first_row_links(
    rig: Rig,
    model: SkewModel,
    distances: Array,
    lenses: Array,
    across: Array,
    towards: Array,
    keeper_rate: float,
) -> Iterator[Link]:
    """The first row of the table as an example of all: every other is the same sum with its own D and f."""
    yield Link("distance of the first row", float(distances[0]), "m", "given, or the usual row of distances")
    b_m = lenses[0] * distances[0] / (distances[0] - lenses[0])
    yield Link("lens to film b, first row", float(b_m) * 1e3, "mm", "computed: f D / (D - f)")
    yield Link(
        "fastest across by skew alone, first row",
        float(across[0]),
        "m/s",
        "computed: d D / (b T), the stricter body",
    )
    yield Link(
        "free of fringes, first row", float(across[1]), "m/s", "computed: d D / (b (T + |tA - tB| / 2))"
    )
    yield Link("sharp, first row", float(across[2]), "m/s", "computed: d D / (b t), t the longer exposure")
    x, z = common_half(*views_of(rig, math.inf))
    yield Link(
        "image height r over b",
        math.hypot(x, z),
        "",
        "computed: the corner of the field that both bodies see",
    )
    yield Link(
        "skew T in the worst corner",
        model.skew_for_rate_s(keeper_rate, model.sweep_s) * 1e3,
        "ms",
        "computed: as above, with the sweep's part",
    )
    yield Link("fastest towards by skew alone, first row", float(towards[0]), "m/s", "computed: d D / (r T)")


def _tolerance_links(rig: Rig) -> tuple[Link, ...]:
    asked = rig.tolerance
    if asked.on_film_m is not None:
        source = "rig: tolerance.on_film"
    elif asked.scan_pixels is not None:
        source = "rig: tolerance.scan_pixels times bodies.*.scan"
    elif asked.print is not None:
        source = "rig: tolerance.print"
    else:
        source = "computed from rig: bodies.*.frame: 0.030 mm on 24 x 36, scaled by the diagonal"
    return tuple(
        Link(f"allowed on the film of {letter}", on_film_tolerance_m(rig, index) * 1e6, "um", source)
        for index, letter in enumerate("AB")
    )


def _skew_link(rate: float, point: Point, skew_s: float) -> Link:
    where = "the worst corner" if point == "corner" else "frame centre"
    return Link(
        f"skew that {rate:.0%} of pairs stay below, at {where}",
        skew_s * 1e3,
        "ms",
        "computed: normal about the sweep's part, jitter and offset uncertainty combined",
    )
