"""Skew over the frame: two curtains never uncover the scene at quite the same pace, or even the same way."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.rig.model import Rig
from coincide.rig.optics.curtain import time_at
from coincide.rig.optics.geometry import View, view_of

Grid = npt.NDArray[np.float64]
Relation = Literal["together", "against each other", "across each other", "one body only", "no sweep"]

FINE = 401  # points along an axis when looking for the extremes; curtains are smooth


@dataclass(frozen=True, slots=True)
class SweepSpread:
    """What the sweeps do to the skew over the part of the scene that both bodies see.

    across_s: latest minus earliest skew in the frame. after_offset_s: the largest |skew| that the best single
    offset leaves (half of it); rms_s: the root mean square over the frame with that offset. centre_shift_s:
    what the best offset for the whole frame adds to the skew aimed at in frame centre. corner_s: the largest
    |skew| in the frame when the offset is right at frame centre.
    """

    across_s: float
    after_offset_s: float
    rms_s: float
    centre_shift_s: float
    corner_s: float
    relation: Relation


@dataclass(frozen=True, slots=True)
class SkewMap:
    """Skew over the common field, the offset right in frame centre; x (columns,) and z (rows,) are tangents of the
    angle from the axis, to the right and up in the scene; skew_s (rows, columns), positive when B is late."""

    x: Grid
    z: Grid
    skew_s: Grid


def views_of(rig: Rig, subject_m: float | None = None) -> tuple[View, View]:
    """Both bodies' views, focused as they are set, else on a subject: the rig's own, or `subject_m` away."""
    own = rig.tolerance.subject
    if subject_m is None:
        subject_m = math.inf if own is None else own.distance_m
    return view_of(rig.bodies.a, subject_m), view_of(rig.bodies.b, subject_m)


def common_half(first: View, second: View) -> tuple[float, float]:
    """Half the field that both see, to the right and up in the scene, as tangents: its corner is *the* corner."""
    return min(first.half_x, second.half_x), min(first.half_z, second.half_z)


def sweep_spread(rig: Rig, subject_m: float | None = None) -> SweepSpread:
    """The spread for the rig as it is mounted, focused as `views_of` says."""
    return spread_between(*views_of(rig, subject_m))


def spread_between(first: View, second: View) -> SweepSpread:
    """The spread between two views. The sum of one term along x and one along z: extremes of each suffice."""
    half_x, half_z = common_half(first, second)
    along_x = _skew_s(first, second, np.linspace(-half_x, half_x, FINE), np.zeros(FINE))
    along_z = _skew_s(first, second, np.zeros(FINE), np.linspace(-half_z, half_z, FINE))
    least, most = float(along_x.min() + along_z.min()), float(along_x.max() + along_z.max())
    middle = (least + most) / 2
    # Independent along the two axes, so variances add and the mean of the sum is the sum of the means.
    weight = np.ones(FINE)
    weight[[0, -1]] = 0.5
    mean_x, mean_z = np.average(along_x, weights=weight), np.average(along_z, weights=weight)
    variance = np.average((along_x - mean_x) ** 2, weights=weight) + np.average(
        (along_z - mean_z) ** 2, weights=weight
    )
    rms_s = float(np.sqrt(variance + (mean_x + mean_z - middle) ** 2))
    return SweepSpread(
        across_s=most - least,
        after_offset_s=(most - least) / 2,
        rms_s=rms_s,
        centre_shift_s=-middle,
        corner_s=max(abs(least), abs(most)),
        relation=_relation(first, second),
    )


def sweep_skew_s(rig: Rig, x: npt.ArrayLike, z: npt.ArrayLike, subject_m: float | None = None) -> Grid:
    """Skew at scene directions (tangents), less the skew at frame centre. Beyond a field: at its edge."""
    return _skew_s(*views_of(rig, subject_m), np.asarray(x, float), np.asarray(z, float))


def skew_map(rig: Rig, columns: int = 49, rows: int = 33) -> SkewMap:
    """Skew over the field that both bodies see, with the offset on that `calibrate` sets: right in frame centre."""
    first, second = views_of(rig)
    half_x, half_z = common_half(first, second)
    x, z = np.linspace(-half_x, half_x, columns), np.linspace(-half_z, half_z, rows)
    return SkewMap(x, z, _skew_s(first, second, *np.meshgrid(x, z)))


def _skew_s(first: View, second: View, x: Grid, z: Grid) -> Grid:
    return _since_centre_s(second, x, z) - _since_centre_s(first, x, z)


def _since_centre_s(view: View, x: Grid, z: Grid) -> Grid:
    """Mid-exposure of a body at scene directions, less that at frame centre."""
    if view.sweep is None:
        return np.zeros(np.broadcast_shapes(x.shape, z.shape))
    along = x * view.sweep[0] + z * view.sweep[1]
    position = np.clip(0.5 + along / (2 * view.half_sweep), 0.0, 1.0)
    return view.travel_s * (time_at(position, view.curve) - time_at(0.5, view.curve))


def _relation(first: View, second: View) -> Relation:
    if first.sweep is None and second.sweep is None:
        return "no sweep"
    if first.sweep is None or second.sweep is None:
        return "one body only"
    cosine = float(first.sweep @ second.sweep)
    if abs(cosine) < 0.5:
        return "across each other"
    return "together" if cosine > 0 else "against each other"
