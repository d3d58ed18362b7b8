"""Why the map is bent: each cause put in by its own physics, here, and told; and not told where two would do.

Judges: a pinhole camera turned by scipy's Rotation, a radial term, and a ground plane seen from two pupils. The map is
what scikit-image's transforms fit to the places so moved, or the cubic of the package to the same.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from coincide.scans.register.alignment import Alignment, Floats, fit_smooth
from coincide.scans.register.bend import bend_of

FRAME = (900, 600)
MIDDLE = np.array([449.5, 299.5])
F_PX = 900.0  # 36 mm before a frame as wide


def places() -> Floats:
    x, y = np.linspace(20, 880, 18), np.linspace(20, 580, 12)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def turned(points: Floats) -> Floats:
    """Body B panned by 2 and tilted by 1.2 degrees: far things, nothing near."""
    rays = np.concatenate([(points - MIDDLE) / F_PX, np.ones((len(points), 1))], axis=1)
    seen = Rotation.from_euler("yx", [2.0, 1.2], degrees=True).apply(rays)
    return np.asarray(MIDDLE + F_PX * seen[:, :2] / seen[:, 2:])


def lenses(points: Floats, part: float = 0.006) -> Floats:
    away = (points - MIDDLE) / 450
    return np.asarray(points + 450 * part * away * (away**2).sum(axis=1, keepdims=True))


def ground(points: Floats) -> Floats:
    """A slanting foreground from 3 m at the lower edge to 20 m at the upper, pupils 8 mm apart, sideways."""
    nearness = np.interp(points[:, 1], [0, 600], [1 / 20, 1 / 3])
    there = points.copy()
    there[:, 0] += 5 * 0.008 * F_PX * nearness
    return there


def mapped(move: object, mirrored: bool) -> Alignment:
    here = places()
    there = move(here)  # type: ignore[operator]
    if mirrored:
        there = there * [-1, 1] + [899, 0]
    return fit_smooth(here, there, np.full(len(here), 25.0), (449.5, 299.5), 450.0)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(
    ("move", "cause"),
    [
        (turned, "turned"),
        (lenses, "lenses"),
        (ground, "depth"),
        (lambda p: lenses(turned(p), 0.015), "turned and lenses"),
        (lambda p: lenses(ground(p), 0.03), "open"),
    ],
    ids=["turned", "lenses", "depth", "both", "depth and lenses"],
)
def test_the_cause_is_told(move: object, cause: str, mirrored: bool) -> None:
    found = bend_of(mapped(move, mirrored), places(), FRAME, 0.05)
    assert found.cause == cause


def test_a_bend_no_larger_than_its_uncertainty_is_left_open() -> None:
    assert bend_of(mapped(lenses, False), places(), FRAME, 1.0).cause == "open"


def test_a_plain_map_is_not_bent() -> None:
    assert bend_of(Alignment("similarity", np.eye(3)), places(), FRAME, 0.05).cause == "none"
