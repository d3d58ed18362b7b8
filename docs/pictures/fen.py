"""An invented fen for the pictures of the docs, drawn: in colour and as infrared film shows it; some things moved."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from PIL import Image, ImageDraw
from scipy import ndimage

Reals = np.ndarray[Any, Any]
Colour = tuple[int, int, int]

WIDTH, HEIGHT, FINE = 900, 600, 2
BOAT_PX, BIRDS_PX = (11.0, 0.0), (-9.0, -4.0)
_GULL = [(-0.5, -0.12), (-0.25, -0.24), (0, 0), (0.25, -0.24), (0.5, -0.12), (0.2, -0.05), (0.06, 0.2),
         (-0.06, 0.2), (-0.2, -0.05)]  # fmt: skip


def pair(seed: int) -> tuple[Reals, Reals]:
    """Scans (h, w, 3) in 0..1: colour of body A, infrared of body B, which is turned and cut otherwise."""
    turn = math.radians(0.9 - 0.5 * seed)
    matrix = FINE * np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
    middle = (np.array([HEIGHT, WIDTH]) - 1) / 2
    offset = FINE * (middle + 0.5) - 0.5 - matrix @ middle + FINE * np.array([7.0, -10.0])
    a = _drawn(seed, moved=False, infrared=False).reshape(HEIGHT, FINE, WIDTH, FINE, 3).mean(axis=(1, 3))
    b = ndimage.gaussian_filter(_drawn(seed, moved=True, infrared=True)[..., 0], 0.8)
    b = ndimage.affine_transform(b, matrix, offset, output_shape=(HEIGHT, WIDTH), order=1, mode="reflect")
    rng = np.random.default_rng(seed)
    grain = [part * rng.standard_normal((HEIGHT, WIDTH, 1)) for part in (0.01, 0.025)]
    return np.clip(a + grain[0], 0, 1), np.clip(np.repeat(b[..., None], 3, axis=2) + grain[1], 0, 1)


def _drawn(seed: int, moved: bool, infrared: bool) -> Reals:
    rng = np.random.default_rng([40, seed])
    width, height = WIDTH * FINE, HEIGHT * FINE
    image = Image.new("RGB", (width, height))
    draw = ImageDraw.Draw(image)

    def tone(colour: tuple[float, float, float], bright: float) -> Colour:
        return (int(bright),) * 3 if infrared else tuple(int(part) for part in colour)  # type: ignore[return-value]

    shore = int(height * 0.42)
    for y in range(height):
        part = y / shore if y < shore else (y - shore) / (height - shore)
        sky = (150 + 70 * part, 185 + 43 * part, 225 + 7 * part)
        water = (88 - 38 * part, 112 - 46 * part, 122 - 52 * part)
        line = tone(sky, 60 + 60 * part) if y < shore else tone(water, 25 - 13 * part)
        draw.line([(0, y), (width, y)], fill=line)
    for _ in range(900):  # trees on the far shore
        x = rng.uniform(0, width)
        tall = 22 + 50 * abs(math.sin(x / 170) * math.sin(x / 67 + 1))
        y, r, g = shore - rng.uniform(0, tall), rng.uniform(4, 13), rng.uniform(0.6, 1.15)
        draw.ellipse([x - r, y - r, x + r, y + r], fill=tone((58 * g, 88 * g, 46 * g), 190 * g))
    x, y = width * 0.16, shore + 6.0
    draw.rectangle([x, y - 70, x + 110, y], fill=tone((120, 84, 60), 95))
    draw.polygon([(x - 12, y - 70), (x + 122, y - 70), (x + 55, y - 118)], fill=tone((92, 50, 44), 70))
    draw.rectangle([x + 20, y - 52, x + 44, y - 26], fill=tone((40, 44, 52), 30))
    draw.rectangle([x + 66, y - 50, x + 94, y], fill=tone((64, 42, 30), 48))
    for k in range(9):  # mooring posts
        x, y = width * (0.05 + 0.045 * k), height * 0.6 + 14 * k
        draw.rectangle([x - 5, y - 70, x + 5, y], fill=tone((88, 72, 56), 80))
    for _ in range(420):  # lilies
        x, y = rng.uniform(0, width), rng.uniform(0.48, 0.98) * height
        r, g = rng.uniform(5, 13) * (0.4 + y / height), rng.uniform(0.75, 1.2)
        draw.ellipse(
            [x - r, y - 0.35 * r, x + r, y + 0.35 * r], fill=tone((70 * g, 116 * g, 60 * g), 200 * g)
        )
    for _ in range(1500):  # reeds
        x, y = rng.beta(0.5, 0.5) * width, height * rng.uniform(0.8, 1.05)
        tall, lean, g = rng.uniform(70, 210), rng.normal(0, 0.12), rng.uniform(0.6, 1.2)
        top = (x + tall * math.sin(lean), y - tall * math.cos(lean))
        draw.line(
            [(x, y), top], fill=tone((112 * g, 124 * g, 58 * g), 180 * g), width=int(rng.integers(2, 6))
        )
    boat, birds = (np.array(by) * FINE * moved for by in (BOAT_PX, BIRDS_PX))
    x, y = np.array([width * 0.56, height * 0.62]) + boat
    hull = [(-120, -8), (120, -12), (92, 32), (-98, 32)]
    draw.polygon([(x + dx, y + dy) for dx, dy in hull], fill=tone((168, 58, 42), 110))
    draw.polygon([(x + 6, y - 10), (x + 6, y - 150), (x + 88, y - 18)], fill=tone((236, 230, 214), 225))
    draw.rectangle([x - 2, y - 160, x + 4, y - 8], fill=tone((80, 60, 40), 60))
    draw.rectangle([x - 70, y - 30, x - 30, y - 8], fill=tone((60, 80, 120), 90))
    for across, down, size in ((0.7, 0.12, 92), (0.8, 0.17, 76), (0.36, 0.1, 84)):
        x, y = np.array([width * across, height * down]) + birds
        draw.polygon([(x + dx * size, y + dy * size) for dx, dy in _GULL], fill=tone((50, 52, 58), 24))
    return np.asarray(image).astype(float) / 255.0
