"""Skew into image displacement and back. Metres, seconds, radians; arrays broadcast.

Distances count from the front principal plane. b is the distance from lens to film, f (1 + m) for a lens focused
where the subject is and `image_distance_m` of the focused distance otherwise. Nothing refocuses during a skew.
All from the thin-lens equation; r is the image height, the distance from the frame's centre on film.
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np
import numpy.typing as npt

Number = TypeVar("Number", float, npt.NDArray[np.float64])


def across_m(b_m: Number, distance_m: Number, speed_m_s: Number, skew_s: Number) -> Number:
    """A subject that moves across: b v T / D, which is m v T on the focused plane."""
    return b_m * speed_m_s * skew_s / distance_m


def towards_m(height_m: Number, distance_m: Number, speed_m_s: Number, skew_s: Number) -> Number:
    """A subject that comes or goes, at image height r: r v T / D, away from the frame's centre."""
    return height_m * speed_m_s * skew_s / distance_m


def rotation_m(b_m: Number, x_m: Number, y_m: Number, rate_rad_s: Number, time_s: Number) -> Number:
    """The rig turns about an upright or a level axis, whichever moves the place (x, y) on film farther.

    About the upright axis the picture moves by (b + x**2/b, x y / b) a radian, about the level one by
    (x y / b, b + y**2/b): the pinhole projection differentiated.
    """
    farther = np.maximum(np.abs(x_m), np.abs(y_m))
    per_radian = np.hypot(b_m + farther**2 / b_m, x_m * y_m / b_m)
    moved: Number = per_radian * rate_rad_s * time_s
    return moved


def roll_m(height_m: Number, rate_rad_s: Number, skew_s: Number) -> Number:
    """The rig rolls about the lens axis: r w T."""
    return height_m * rate_rad_s * skew_s


def fastest_across_m_s(b_m: Number, distance_m: Number, allowed_m: Number, skew_s: Number) -> Number:
    """The fastest subject across that stays within `allowed_m` on film: d D / (b T)."""
    with np.errstate(divide="ignore"):  # no skew: any speed
        fastest: Number = np.divide(allowed_m * distance_m, b_m * skew_s)
    return fastest


def fastest_towards_m_s(height_m: Number, distance_m: Number, allowed_m: Number, skew_s: Number) -> Number:
    """The fastest subject towards the camera that does, at image height r: d D / (r T)."""
    with np.errstate(divide="ignore"):
        fastest: Number = np.divide(allowed_m * distance_m, height_m * skew_s)
    return fastest


def nearest_distance_m(
    focal_length_m: Number, speed_m_s: Number, allowed_m: Number, skew_s: Number
) -> Number:
    """The nearest distance, focused on, at which a subject across stays within: f (1 + v T / d)."""
    return focal_length_m * (1.0 + speed_m_s * skew_s / allowed_m)


def longest_lens_m(distance_m: Number, speed_m_s: Number, allowed_m: Number, skew_s: Number) -> Number:
    """The longest focal length, focused on the subject, that stays within: D m / (1 + m) with m = d / (v T)."""
    return distance_m / (1.0 + speed_m_s * skew_s / allowed_m)


def skew_allowed_s(b_m: Number, distance_m: Number, speed_m_s: Number, allowed_m: Number) -> Number:
    """The largest skew at which a subject across stays within: d D / (b v)."""
    return allowed_m * distance_m / (b_m * speed_m_s)
