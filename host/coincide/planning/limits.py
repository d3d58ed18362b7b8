"""What this rig can photograph: the fastest subject, the nearest distance, the longest lens, for a keeper rate."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput
from coincide.planning.displacement import (
    fastest_across_m_s,
    fastest_towards_m_s,
    longest_lens_m,
    nearest_distance_m,
    rotation_m,
    skew_allowed_s,
)
from coincide.planning.skew_model import SkewModel
from coincide.planning.subjects import EVERYDAY, Everyday, subject_source
from coincide.rig.model import Rig
from coincide.rig.optics import image_distance_m
from coincide.rig.tolerance import on_film_tolerance_m
from coincide.rig.trace import Link

Array = npt.NDArray[np.float64]
Point = Literal["centre", "corner"]

DISTANCES_M = (2.0, 3.0, 5.0, 7.0, 10.0, 15.0, 20.0, 30.0, 50.0, 100.0)


@dataclass(frozen=True, slots=True)
class Limits:
    """The fastest subject by distance and lens, for a keeper rate, at a frame point; lenses focused on it.

    distances_m (n,), focal_lengths_m (k,). across_m_s, towards_m_s (n, k): skew alone. across_blur_m_s (n, k):
    with the unequal exposures' blur counted too. towards is taken in the corner, where it is worst. skew_s:
    the |skew| that the keeper rate stays below at that point. everyday: rough speeds to lay beside them.
    """

    keeper_rate: float
    point: Point
    skew_s: float
    distances_m: Array
    focal_lengths_m: Array
    across_m_s: Array
    across_blur_m_s: Array
    towards_m_s: Array
    everyday: tuple[Everyday, ...]
    chain: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class Inverse:
    """The same turned round, for one subject across. skew_needed_s: what the skew would have to stay below;
    nearest_m: how near the subject may come with the lens in use; longest_lens_m: how long a lens may be."""

    skew_s: float
    skew_needed_s: float
    nearest_m: float
    longest_lens_m: float
    chain: tuple[Link, ...]


@dataclass(frozen=True, slots=True)
class HandMovement:
    """The rig turned while the two bodies exposed; metres on film.

    shift_m: the whole picture's shift between the frames, which registration removes. bend_m: what the corner
    moves more than the centre, which a shift alone does not remove. left_m: what no registration of whole
    frames removes, from the sweeps' difference over the frame. rate_rad_s: how fast it turned.
    """

    rate_rad_s: float
    shift_m: float
    bend_m: float
    left_m: float
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
) -> Limits:
    """The fastest subjects. Without focal lengths, those of the rig's lenses; the stricter body decides."""
    skew_s = model.skew_for_rate_s(keeper_rate, model.sweep_s if point == "corner" else 0.0)
    corner_skew_s = model.skew_for_rate_s(keeper_rate, model.sweep_s)
    own = sorted({body.lens.focal_length_m for body in rig.both})
    lenses = np.array(focal_lengths_m if focal_lengths_m else own, float)
    distances = np.array(distances_m, float)
    if np.any(distances <= lenses.max()):
        raise BadInput(
            f"A distance of {distances.min():g} m lies inside the focal length of {lenses.max() * 1e3:g} mm: "
            "leave it out."
        )
    m = lenses / (distances[:, None] - lenses)
    b_m = lenses * (1.0 + m)
    shape = b_m.shape
    across, blurred, towards = (np.full(shape, np.inf) for _ in range(3))
    far = np.broadcast_to(distances[:, None], shape)
    for index, body in enumerate(rig.both):
        allowed = np.full(shape, on_film_tolerance_m(rig, index))
        height = np.full(shape, body.frame.diagonal_m / 2)
        across = np.minimum(across, fastest_across_m_s(b_m, far, allowed, np.full(shape, skew_s)))
        with_blur = np.full(shape, skew_s + model.unequal_s)
        blurred = np.minimum(blurred, fastest_across_m_s(b_m, far, allowed, with_blur))
        towards = np.minimum(
            towards, fastest_towards_m_s(height, far, allowed, np.full(shape, corner_skew_s))
        )
    chain = (
        *model.chain,
        *_tolerance_links(rig),
        _skew_link(keeper_rate, point, skew_s),
        *(_lens_links(rig) if not focal_lengths_m else _given_lens_links(lenses)),
        *_first_row_links(rig, distances, lenses, across, blurred, towards, corner_skew_s),
    )
    return Limits(keeper_rate, point, skew_s, distances, lenses, across, blurred, towards, EVERYDAY, chain)


def inverse(
    rig: Rig,
    model: SkewModel,
    *,
    speed_m_s: float,
    distance_m: float,
    keeper_rate: float = 0.9,
    point: Point = "centre",
) -> Inverse:
    """For a subject across at a speed and distance. The stricter body decides."""
    if speed_m_s <= 0:
        raise BadInput("A subject that does not move has no limit: give a speed such as '5 km/h'.")
    skew_s = model.skew_for_rate_s(keeper_rate, model.sweep_s if point == "corner" else 0.0)
    needed, nearest, longest = [], [], []
    for index, body in enumerate(rig.both):
        allowed_m = on_film_tolerance_m(rig, index)
        b_m = image_distance_m(body.lens.focal_length_m, distance_m)
        needed.append(skew_allowed_s(b_m, distance_m, speed_m_s, allowed_m))
        nearest.append(nearest_distance_m(body.lens.focal_length_m, speed_m_s, allowed_m, skew_s))
        longest.append(longest_lens_m(distance_m, speed_m_s, allowed_m, skew_s) if skew_s else np.inf)
    chain = (
        *model.chain,
        *_tolerance_links(rig),
        *_lens_links(rig),
        Link("speed", speed_m_s, "m/s", subject_source(rig, "speed", speed_m_s)),
        Link("distance", distance_m, "m", subject_source(rig, "distance", distance_m)),
        _skew_link(keeper_rate, point, skew_s),
        Link("skew needed", min(needed) * 1e3, "ms", "computed: d D / (b v)"),
        Link("nearest distance", max(nearest), "m", "computed: f (1 + v T / d)"),
        Link("longest lens", min(longest) * 1e3, "mm", "computed: D m / (1 + m), m = d / (v T)"),
    )
    return Inverse(skew_s, min(needed), max(nearest), min(longest), chain)


def hand_movement(rig: Rig, model: SkewModel, rate_rad_s: float, keeper_rate: float = 0.9) -> HandMovement:
    """What turning the rig at a rate does to the pair: removable by registration, and not."""
    skew_s = model.skew_for_rate_s(keeper_rate, 0.0)
    shifts, bends, lefts = [], [], []
    for body in rig.both:
        b_m, corner_m = body.lens.focal_length_m, body.frame.diagonal_m / 2
        shifts.append(rotation_m(b_m, 0.0, rate_rad_s, skew_s))
        bends.append(rotation_m(b_m, corner_m, rate_rad_s, skew_s) - shifts[-1])
        lefts.append(rotation_m(b_m, corner_m, rate_rad_s, model.sweep.after_offset_s))
    left = "nothing is left, since the sweeps do not differ."
    if max(lefts) > 0:
        left = (
            f"up to {max(lefts) * 1e6:.2g} um at the frame's edge are left, from the difference of the sweeps, which "
            "no registration of whole frames removes."
        )
    say = (
        f"Turning at {np.degrees(rate_rad_s):.2g} degrees a second shifts the frames by {max(shifts) * 1e6:.2g} um "
        f"against each other, which registering the scans removes, and rolling as well; {left}"
    )
    chain = (
        *model.chain,
        Link("rate of turning", float(np.degrees(rate_rad_s)), "deg/s", "given, or rough"),
        Link("skew in most pairs", skew_s * 1e3, "ms", f"computed: |skew| that {keeper_rate:.0%} stay below"),
        Link("shift", max(shifts) * 1e6, "um", "computed: b w T"),
        Link("bend in the corner", max(bends) * 1e6, "um", "computed: b w T (r/b)^2"),
        Link("left", max(lefts) * 1e6, "um", "computed: b w (1 + (r/b)^2) times the sweeps' half spread"),
    )
    return HandMovement(rate_rad_s, max(shifts), max(bends), max(lefts), say, chain)


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
    distances: Array,
    lenses: Array,
    across: Array,
    blurred: Array,
    towards: Array,
    corner_skew_s: float,
) -> Iterator[Link]:
    """The first row of the table as an example of all: every other is the same sum with its own D and f."""
    yield Link("distance of the first row", float(distances[0]), "m", "given, or the usual row of distances")
    b_m = lenses[0] * distances[0] / (distances[0] - lenses[0])
    yield Link("lens to film b, first row", float(b_m) * 1e3, "mm", "computed: f D / (D - f)")
    yield Link(
        "fastest across, first row", float(across[0, 0]), "m/s", "computed: d D / (b T), the stricter body"
    )
    yield Link("with blur, first row", float(blurred[0, 0]), "m/s", "computed: d D / (b (T + |tA - tB| / 2))")
    for letter, body in zip("AB", rig.both, strict=True):
        half_mm = body.frame.diagonal_m / 2 * 1e3
        yield Link(
            f"image height r of {letter}",
            half_mm,
            "mm",
            f"rig: bodies.{letter.lower()}.frame, half the diagonal",
        )
    yield Link(
        "skew T in the worst corner", corner_skew_s * 1e3, "ms", "computed: as above, with the sweep's part"
    )
    yield Link(
        "fastest towards, first row", float(towards[0, 0]), "m/s", "computed: d D / (r T), the stricter body"
    )


def _tolerance_links(rig: Rig) -> tuple[Link, ...]:
    asked = rig.tolerance
    if asked.on_film_m is not None:
        source = "rig: tolerance.on_film"
    elif asked.scan_pixels is not None:
        source = "rig: tolerance.scan_pixels times bodies.*.scan"
    elif asked.print is not None:
        source = "rig: tolerance.print"
    else:
        source = "computed from rig: bodies.*.frame, diagonal/1442"
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
