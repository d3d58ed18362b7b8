"""Pairs of known truth over photographs that come with scikit-learn, seen through lenses of unlike distortion.

Everything is made here from scipy alone: B is drawn backwards through a similarity and a radial term, its truth
found by iterating; one thing is pasted at two places. Sky and out-of-focus ground are left plain, as they are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage
from sklearn.datasets import load_sample_image

Reals = np.ndarray[Any, Any]
NAMES = ("china.jpg", "flower.jpg")
MOVER_PX = 64


@dataclass(frozen=True)
class Placed:
    """Two greys (h, w) in 0..1, and what is true of them: a grid of A (n, 2), where it lies in B, and the mover."""

    a: Reals
    b: Reals
    places: Reals
    there: Reals
    mover_at: Reals
    mover_by: Reals


def placed(seed: int, moved: bool = True) -> Placed:
    """One pair: turned up to 5 degrees, 5 % of scale, 0.4 % of distortion, other tones, grain."""
    rng = np.random.default_rng([19, seed])
    colour = load_sample_image(NAMES[seed % 2]).astype(float) / 255.0
    scene = colour @ np.array([0.299, 0.587, 0.114])
    if rng.integers(2):
        scene = scene[:, ::-1].copy()
    mover = colour[150 : 150 + MOVER_PX, 250 : 250 + MOVER_PX, 1]
    rows, columns = scene.shape
    top, left = int(rng.integers(20, 41)), int(rng.integers(30, 51))
    height, width = rows - 60, columns - 80
    at = np.array([rng.uniform(0.3, 0.7) * width, rng.uniform(0.35, 0.65) * height])
    way = rng.uniform(0, 2 * np.pi)
    by = rng.uniform(3, 14) * np.array([math.cos(way), math.sin(way)])
    scene_a, scene_b = scene.copy(), scene.copy()
    if moved:
        _paste(scene_a, mover, at + np.array([left, top]))
        _paste(scene_b, mover, at + by + np.array([left, top]))
    a = scene_a[top : top + height, left : left + width]

    angle, gain = math.radians(rng.uniform(-5, 5)), rng.uniform(0.95, 1.05)
    linear = gain * np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    if rng.integers(2):
        linear = linear @ np.diag([-1.0, 1.0])
    middle = (np.array([width, height]) - 1) / 2
    shift, bend = rng.uniform(-8, 8, 2), rng.uniform(-0.004, 0.004)
    reach = max(width, height) / 2

    def to_a(points: Reals) -> Reals:
        out = (points - middle - shift) / gain
        out = out @ (linear / gain)  # the inverse of a turn or mirroring is its transpose
        square = (out**2).sum(axis=-1, keepdims=True) / reach**2
        return np.asarray(middle + out * (1 + bend * square))

    grid = np.stack(np.meshgrid(np.arange(float(width)), np.arange(float(height))), axis=-1)
    seen = to_a(grid)
    b = ndimage.map_coordinates(scene_b, [seen[..., 1] + top, seen[..., 0] + left], order=3, mode="nearest")
    banded = bool(rng.integers(2))
    levels = np.array([0.0, 0.3, 0.6, 1.0]) if banded else np.array([0.0, 1.0])
    tones = np.array([0.6, 0.1, 0.85, 0.35]) if banded else np.array([0.9, 0.1])
    b = np.interp(b, levels, tones) if rng.integers(3) else b
    grain = rng.choice([0.0, 0.01, 0.02])
    a, b = (np.clip(one + grain * rng.standard_normal(one.shape), 0, 1) for one in (a, b))

    xs, ys = np.linspace(0, width - 1, 9), np.linspace(0, height - 1, 7)
    places = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    there = places.copy()
    for _ in range(40):
        there = there + (places - to_a(there)) @ linear.T
    inside = ((there >= 0) & (there <= [width - 1, height - 1])).all(axis=1)
    assert np.abs(to_a(there) - places).max() < 1e-6
    return Placed(a.astype(np.float32), b.astype(np.float32), places[inside], there[inside], at, by)


def _paste(into: Reals, piece: Reals, at: Reals) -> None:
    corner = at - (MOVER_PX - 1) / 2
    whole = np.floor(corner).astype(int)
    part = corner - whole
    padded = ndimage.shift(np.pad(piece, 2, mode="edge"), part[::-1], order=3, mode="nearest")
    cover = np.clip(ndimage.shift(np.pad(np.ones_like(piece), 2), part[::-1], order=1), 0, 1)
    x, y = whole - 2
    place = into[y : y + MOVER_PX + 4, x : x + MOVER_PX + 4]
    place[:] = place * (1 - cover) + np.clip(padded, 0, 1) * cover
