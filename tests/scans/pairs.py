"""Pairs of frames with known truth, made from photographs that ship inside scikit-image.

One scene is composed twice, with the moved things in two places; the second is seen through a known
similarity and given other tones, blur, grain and dust. Nothing here is shared with the analysis.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy import ndimage
from skimage import data, transform

Image = npt.NDArray[np.float64]
Vector = tuple[float, float]

PHOTOGRAPHS = ("coffee", "cat", "brick", "gravel", "grass", "coins", "rocket", "moon", "motorcycle", "tissue")
FLIPS = ("invert", "bands", "middle")


@cache
def photograph(name: str) -> Image:
    """A bundled photograph, (h, w, 3) in 0..1."""
    if name == "motorcycle":
        pixels = data.stereo_motorcycle()[0]
    elif name == "tissue":
        pixels = data.immunohistochemistry()
    else:
        pixels = getattr(data, name)()
    image = np.asarray(pixels, np.float64) / 255.0
    return np.repeat(image[..., None], 3, axis=2) if image.ndim == 2 else image[..., :3]


@dataclass(frozen=True)
class Mover:
    """A piece of another photograph: where it is in A (centre), its size, how far it is displaced in B."""

    at: Vector
    size: tuple[int, int]
    by: Vector
    look: str = "grass"
    fade: float = 1.0
    round_: bool = False


@dataclass(frozen=True)
class Change:
    """What makes B differ from A. turn in degrees, scale = B pixels to an A pixel, shift in B pixels."""

    turn_deg: float = 0.0
    scale: float = 1.0
    shift: Vector = (0.0, 0.0)
    mirrored: bool = False
    tones: str = "same"
    grain: float = 0.0
    blur: float = 0.0
    dust: int = 0
    movers: tuple[Mover, ...] = field(default_factory=tuple)


@dataclass(frozen=True)
class Pair:
    """Two frames, grey or colour, in 0..1, and `truth` (3, 3): pixels of A to pixels of B."""

    a: Image
    b: Image
    truth: Image
    movers: tuple[Mover, ...]


def make_pair(name: str, change: Change, seed: int, crop: float = 0.86) -> Pair:
    """A is the middle `crop` of the photograph; B sees the same scene through `change`."""
    rng = np.random.default_rng(seed)
    scene = photograph(name)
    rows, columns = scene.shape[:2]
    height, width = int(rows * crop) // 2 * 2, int(columns * crop) // 2 * 2
    left, top = (columns - width) // 2, (rows - height) // 2
    scene_a = _with_movers(scene, change.movers, (left, top), moved=False)
    scene_b = _with_movers(scene, change.movers, (left, top), moved=True)
    a = scene_a[top : top + height, left : left + width]

    truth = _matrix(change, (width, height))
    to_scene = np.array([[1, 0, left], [0, 1, top], [0, 0, 1.0]]) @ np.linalg.inv(truth)
    size = (round(height * change.scale), round(width * change.scale))
    b = transform.warp(
        scene_b, transform.ProjectiveTransform(to_scene), output_shape=size, order=3, mode="reflect"
    )
    b = np.clip(b, 0, 1)
    b = retoned(b, change.tones)
    if change.blur:
        b = ndimage.gaussian_filter(b, (change.blur, change.blur, 0))
    a, b = _aged(a, change, rng), _aged(b, change, rng)
    return Pair(a, b, truth, change.movers)


def _matrix(change: Change, size: tuple[int, int]) -> Image:
    """About the middle of A onto the middle of B, which is `scale` times the size."""
    angle = math.radians(change.turn_deg)
    linear = change.scale * np.array(
        [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
    )
    if change.mirrored:
        linear = linear @ np.diag([-1.0, 1.0])
    middle_a = (np.array(size) - 1) / 2
    middle_b = (np.round(np.array(size) * change.scale) - 1) / 2
    matrix = np.eye(3)
    matrix[:2, :2] = linear
    matrix[:2, 2] = middle_b + np.array(change.shift) - linear @ middle_a
    return matrix


def _with_movers(scene: Image, movers: tuple[Mover, ...], corner: tuple[int, int], moved: bool) -> Image:
    out = scene.copy()
    for mover in movers:
        x, y = mover.at[0] + corner[0], mover.at[1] + corner[1]
        if moved:
            x, y = x + mover.by[0], y + mover.by[1]
        _paste(out, mover, x, y)
    return out


def _paste(into: Image, mover: Mover, x: float, y: float) -> None:
    """Lay the mover with its centre at (x, y), to a fraction of a pixel."""
    width, height = mover.size
    look = photograph(mover.look)
    pad = 6
    # The same piece of the picture whatever the place, so that only the place changes.
    top, left = look.shape[0] // 3, look.shape[1] // 3
    tall, wide = height + 2 * pad, width + 2 * pad
    rows = np.arange(top, top + tall) % look.shape[0]
    columns = np.arange(left, left + wide) % look.shape[1]
    piece = look[np.ix_(rows, columns)]
    if mover.fade != 1.0:
        piece = piece.mean() + mover.fade * (piece - piece.mean())
    cover = np.zeros((tall, wide))
    cover[pad : pad + height, pad : pad + width] = 1.0
    if mover.round_:
        yy, xx = np.mgrid[:tall, :wide]
        inside = ((xx - (wide - 1) / 2) / (width / 2)) ** 2 + ((yy - (tall - 1) / 2) / (height / 2)) ** 2
        cover = (inside <= 1).astype(float)
    x0, y0 = x - (wide - 1) / 2, y - (tall - 1) / 2
    left0, top0 = math.floor(x0), math.floor(y0)
    by = (y0 - top0, x0 - left0)
    cover = np.clip(ndimage.shift(cover, by, order=1), 0, 1)
    piece = np.stack([ndimage.shift(piece[..., c], by, order=3, mode="nearest") for c in range(3)], axis=-1)
    part = into[top0 : top0 + tall, left0 : left0 + wide]
    part[:] = part * (1 - cover[..., None]) + np.clip(piece, 0, 1) * cover[..., None]


def retoned(image: Image, tones: str) -> Image:
    """Other tones: 'invert' all, 'bands' that go up and down, 'middle' inverted, 'hue' as infrared sees it."""
    if tones == "same":
        return image
    if tones == "gamma":
        return np.asarray(0.1 + 0.75 * image**0.6)
    if tones == "invert":
        return np.asarray(0.95 - 0.85 * image)
    if tones == "bands":
        return np.asarray(np.interp(image, [0, 0.3, 0.6, 1.0], [0.6, 0.1, 0.85, 0.35]))
    if tones == "middle":
        return np.asarray(np.interp(image, [0, 0.25, 0.65, 1.0], [0.0, 0.75, 0.25, 1.0]))
    if tones == "hue":
        # What is redder than it is blue turns bright and back to front. Decided by a soft mask and applied to
        # luma: the colour layers of these photographs lie up to half a pixel apart, which is not ours to find.
        luma = image @ np.array([0.299, 0.587, 0.114])
        warm = ndimage.gaussian_filter(image[..., 0] - image[..., 2], 3.0)
        if float(np.ptp(warm)) < 0.05:  # a grey photograph: its broad light and shade stand in for hue
            warm = ndimage.gaussian_filter(luma, 12.0)
        mask = 1 / (1 + np.exp(-(warm - np.median(warm)) / 0.02))
        seen = mask * (0.9 - 0.6 * luma) + (1 - mask) * (0.05 + 0.7 * luma)
        return np.repeat(seen[..., None], 3, axis=2)
    raise ValueError(tones)


def _aged(image: Image, change: Change, rng: np.random.Generator) -> Image:
    out = image
    if change.grain:
        grain = ndimage.gaussian_filter(rng.standard_normal(image.shape[:2]), 0.6)
        out = out + change.grain * (grain / grain.std())[..., None]
    if change.dust:
        out = out.copy()
        for _ in range(change.dust):
            y, x = rng.integers(4, image.shape[0] - 4), rng.integers(4, image.shape[1] - 4)
            size = int(rng.integers(1, 4))
            out[y - size : y + size, x - size : x + size] = rng.choice([0.02, 0.98])
    return np.asarray(np.clip(out, 0, 1))


def error_rms(found: object, pair: Pair) -> float:
    """Rms distance over A between where `found.to_b` and the truth put its points, in pixels of A."""
    height, width = pair.a.shape[:2]
    xs, ys = np.meshgrid(np.linspace(0, width - 1, 21), np.linspace(0, height - 1, 21))
    points = np.stack([xs.ravel(), ys.ravel()], axis=1)
    true = points @ pair.truth[:2, :2].T + pair.truth[:2, 2]
    gauge = math.sqrt(abs(np.linalg.det(pair.truth[:2, :2])))
    off = found.to_b(points) - true  # type: ignore[attr-defined]
    return float(np.sqrt((off**2).sum(axis=1).mean()) / gauge)


def grey(image: Image) -> npt.NDArray[np.float32]:
    return np.asarray(image @ np.array([0.299, 0.587, 0.114]), np.float32)
