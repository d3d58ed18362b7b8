"""Skew into image displacement: the formulas against points projected through a lens before and after."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coincide.planning.displacement import (
    across_m,
    fastest_across_m_s,
    fastest_towards_m_s,
    longest_lens_m,
    nearest_distance_m,
    roll_m,
    rotation_m,
    skew_allowed_s,
    towards_m,
)
from coincide.rig.optics.thin_lens import image_distance_m

SKEW_S = 1e-4  # short, so that the formulas' first order is all there is


def projected(point: np.ndarray, b_m: float) -> np.ndarray:
    """Through the lens's centre to a film b behind it; the film's picture turned upright."""
    return np.asarray(b_m * point[:2] / point[2])


@pytest.mark.parametrize("seed", range(30))
def test_subjects_that_move_against_projected_points(seed: int) -> None:
    random = np.random.default_rng(seed)
    f_m, distance_m, speed = random.uniform(0.02, 0.3), random.uniform(2, 100), random.uniform(0.1, 30)
    b_m = image_distance_m(f_m, random.uniform(2, 100))
    point = np.array(
        [random.uniform(-0.3, 0.3) * distance_m, random.uniform(-0.3, 0.3) * distance_m, distance_m]
    )
    direction = random.uniform(0, 2 * math.pi)
    moved = point + speed * SKEW_S * np.array([math.cos(direction), math.sin(direction), 0])
    truth = np.linalg.norm(projected(moved, b_m) - projected(point, b_m))
    assert across_m(b_m, distance_m, speed, SKEW_S) == pytest.approx(truth, rel=1e-6)
    nearer = point - np.array([0, 0, speed * SKEW_S])
    height_m = float(np.linalg.norm(projected(point, b_m)))
    truth = np.linalg.norm(projected(nearer, b_m) - projected(point, b_m))
    assert towards_m(height_m, distance_m, speed, SKEW_S) == pytest.approx(truth, rel=5e-3)


@pytest.mark.parametrize("seed", range(30))
def test_a_rig_that_turns_against_projected_points(seed: int) -> None:
    random = np.random.default_rng(seed)
    b_m, rate = random.uniform(0.02, 0.3), random.uniform(0.001, 0.5)
    x, y = random.uniform(-0.5, 0.5, 2)
    angle = rate * SKEW_S
    point = np.array([x, y, 1.0]) * 1e4
    upright = np.array(
        [[math.cos(angle), 0, math.sin(angle)], [0, 1, 0], [-math.sin(angle), 0, math.cos(angle)]]
    )
    level = np.array(
        [[1, 0, 0], [0, math.cos(angle), math.sin(angle)], [0, -math.sin(angle), math.cos(angle)]]
    )
    truth = max(
        float(np.linalg.norm(projected(turn @ point, b_m) - projected(point, b_m)))
        for turn in (upright, level)
    )
    assert rotation_m(b_m, x * b_m, y * b_m, rate, SKEW_S) == pytest.approx(truth, rel=1e-3)
    rolled = np.array(
        [[math.cos(angle), -math.sin(angle), 0], [math.sin(angle), math.cos(angle), 0], [0, 0, 1]]
    )
    truth = float(np.linalg.norm(projected(rolled @ point, b_m) - projected(point, b_m)))
    assert roll_m(math.hypot(x, y) * b_m, rate, SKEW_S) == pytest.approx(truth, rel=1e-3)


def test_the_inverses_undo_it() -> None:
    f_m, distance_m, speed, skew_s = 0.05, 8.0, 3.0, 0.0015
    b_m = image_distance_m(f_m, distance_m)
    allowed_m = across_m(b_m, distance_m, speed, skew_s)
    assert fastest_across_m_s(b_m, distance_m, allowed_m, skew_s) == pytest.approx(speed)
    assert skew_allowed_s(b_m, distance_m, speed, allowed_m) == pytest.approx(skew_s)
    assert nearest_distance_m(f_m, speed, allowed_m, skew_s) == pytest.approx(distance_m)
    assert longest_lens_m(distance_m, speed, allowed_m, skew_s) == pytest.approx(f_m)
    height_m = 0.02
    assert fastest_towards_m_s(
        height_m, distance_m, towards_m(height_m, distance_m, speed, skew_s), skew_s
    ) == (pytest.approx(speed))


def test_arrays_broadcast() -> None:
    speeds = np.array([1.0, 2.0, 4.0])
    assert across_m(np.array(0.05), np.array(10.0), speeds, np.array(0.001)) == pytest.approx(5e-6 * speeds)
