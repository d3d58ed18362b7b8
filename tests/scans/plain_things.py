"""Plain things with a sharp outline before plain ground, moved by a known way: birds, boats, posts.

Drawn from polygons over photographs of which one part is made plain, as sky or still water is; B is seen through a
known similarity, with other tones and grain. Nothing is shared with the analysis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage
from skimage.draw import polygon2mask
from sklearn.datasets import load_sample_image

Reals = np.ndarray[Any, Any]
_FINE = 4
# Outlines about (0, 0), one unit long: a gull from below, a hull with its sail, a mooring post.
SHAPES = {
    "bird": [(-0.5, -0.12), (-0.25, -0.2), (0.0, 0.0), (0.25, -0.2), (0.5, -0.12), (0.2, -0.05), (0.06, 0.16),
             (-0.06, 0.16), (-0.2, -0.05)],
    "boat": [(-0.5, 0.1), (-0.05, 0.08), (-0.05, -0.5), (0.3, 0.05), (0.5, 0.1), (0.35, 0.25), (-0.4, 0.25)],
    "post": [(-0.07, -0.5), (0.07, -0.5), (0.07, 0.5), (-0.07, 0.5)],
}  # fmt: skip


@dataclass(frozen=True)
class PlainPair:
    """Two greys (h, w) in 0..1; the thing's place in A, its size, how far it moved; what it is."""

    a: Reals
    b: Reals
    at: tuple[float, float]
    size_px: float
    by: tuple[float, float]
    shape: str


def plain_pair(seed: int, moved: bool = True) -> PlainPair:
    """One thing of 24 to 70 pixels that moved by 6 to 14, in front of a plain quarter of the picture or more."""
    rng = np.random.default_rng([33, seed])
    shape = tuple(SHAPES)[seed % 3]
    photo = load_sample_image(("china.jpg", "flower.jpg")[seed % 2]).astype(float) / 255.0
    scene = photo @ np.array([0.299, 0.587, 0.114])
    if rng.integers(2):
        scene = scene[:, ::-1].copy()
    scene = _with_plain_part(scene, rng)
    size = float(rng.uniform(24, 70)) * (1.6 if shape == "post" else 1.0)
    way = rng.uniform(0, 2 * math.pi)
    by = rng.uniform(6, 14) * np.array([math.cos(way), math.sin(way)]) if moved else np.zeros(2)
    at = np.array([rng.uniform(0.25, 0.75) * scene.shape[1], rng.uniform(0.16, 0.3) * scene.shape[0]])
    ground = float(ndimage.map_coordinates(scene, [[at[1]], [at[0]]], order=1)[0])
    tone = ground + rng.choice([-1, 1]) * rng.uniform(0.15, 0.35)
    tone = float(np.clip(tone, 0.05, 0.95)) if abs(np.clip(tone, 0.05, 0.95) - ground) > 0.1 else 1 - ground
    lean = rng.uniform(-0.3, 0.3)
    a = _painted(scene, shape, at, size, lean, tone)
    b = _painted(scene, shape, at + by, size, lean, tone)
    left, top = 30, 20
    height, width = scene.shape[0] - 2 * top, scene.shape[1] - 2 * left

    angle, gain = math.radians(rng.uniform(-3, 3)), rng.uniform(0.97, 1.03)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]) / gain
    middle = (np.array([width, height]) - 1) / 2
    grid = np.stack(np.meshgrid(np.arange(float(width)), np.arange(float(height))), axis=-1)
    seen = (grid - middle - rng.uniform(-6, 6, 2)) @ turn + middle
    b = ndimage.map_coordinates(b, [seen[..., 1] + top, seen[..., 0] + left], order=3, mode="nearest")
    tones = ([0.0, 1.0], [0.92, 0.08], [0.1, 0.8])[int(rng.integers(3))]
    b = np.interp(b, [0.0, 1.0], tones)
    grain = rng.choice([0.003, 0.01, 0.02])
    a = a[top : top + height, left : left + width]
    a, b = (np.clip(one + grain * rng.standard_normal(one.shape), 0, 1).astype(np.float32) for one in (a, b))
    return PlainPair(
        a, b, (float(at[0]) - left, float(at[1]) - top), size, (float(by[0]), float(by[1])), shape
    )


def _with_plain_part(scene: Reals, rng: np.random.Generator) -> Reals:
    """The upper two fifths become sky: a smooth fall of tone, its lower edge left to the photograph."""
    rows, columns = scene.shape
    y, x = np.mgrid[:rows, :columns] / rows
    sky = rng.uniform(0.3, 0.7) + rng.uniform(-0.15, 0.15) * y + rng.uniform(-0.1, 0.1) * x
    shore = 0.42 + 0.02 * np.sin(6 * x + rng.uniform(0, 6))
    return np.where(y < shore, sky, scene)


def _painted(scene: Reals, shape: str, at: Reals, size: float, lean: float, tone: float) -> Reals:
    """`scene` with the thing in it, its rim smoothed over a pixel as a lens would."""
    turn = np.array([[math.cos(lean), -math.sin(lean)], [math.sin(lean), math.cos(lean)]])
    outline = (np.array(SHAPES[shape]) @ turn.T) * size
    half = math.ceil(size) + 6
    corner = np.floor(at).astype(int) - half
    fine = ((outline + at - corner + 0.5) * _FINE)[:, ::-1]
    cover = polygon2mask((2 * half * _FINE, 2 * half * _FINE), fine).astype(float)
    cover = ndimage.gaussian_filter(cover, 0.6 * _FINE)
    cover = cover.reshape(2 * half, _FINE, 2 * half, _FINE).mean(axis=(1, 3))
    out = scene.copy()
    rows = slice(max(corner[1], 0), corner[1] + 2 * half)
    columns = slice(max(corner[0], 0), corner[0] + 2 * half)
    cover = cover[rows.start - corner[1] :, columns.start - corner[0] :]
    out[rows, columns] = out[rows, columns] * (1 - cover) + tone * cover
    return out
