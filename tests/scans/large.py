"""A pair as large as a scanner makes them, with known truth: a mosaic of photographs, enlarged, with grain."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from tests.scans.pairs import grey, photograph

TURN_DEG = 1.3
SCALE = 1.01
MOVED_PX = (60.0, -30.0)
MOVER_AT = (0.62, 0.4)  # fractions of the frame
MOVER_PX = 700


def mosaic(width: int, height: int) -> npt.NDArray[np.float32]:
    """Five photographs side by side and above each other, enlarged to (height, width)."""
    names = ("coffee", "gravel", "cat", "tissue", "coins", "motorcycle")
    tiles = [grey(photograph(name))[:300, :380] for name in names]
    rows = [np.concatenate(tiles[:3], axis=1), np.concatenate(tiles[3:], axis=1)]
    small = np.concatenate(rows, axis=0)
    zoom = (height / small.shape[0], width / small.shape[1])
    large: npt.NDArray[np.float32] = ndimage.zoom(small, zoom, order=1, grid_mode=True, mode="nearest")
    return large[:height, :width]


def write_large_pair(
    folder: Path, width: int, height: int, suffix: str
) -> tuple[Path, Path, npt.NDArray[np.float64]]:
    """Two files of `width` x `height`, 16-bit colour TIFF or 8-bit colour JPEG, and the true map."""
    scene = mosaic(width, height)
    angle = math.radians(TURN_DEG)
    linear = SCALE * np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    truth = np.eye(3)
    truth[:2, :2] = linear
    truth[:2, 2] = middle - linear @ middle
    back = np.linalg.inv(linear)
    side = round(MOVER_PX * width / 9500)
    x, y = (round(MOVER_AT[0] * width), round(MOVER_AT[1] * height))
    patch = np.ascontiguousarray(mosaic(width, height)[50 : 50 + side, width // 2 : width // 2 + side])
    scene_b = scene.copy()
    scene[y : y + side, x : x + side] = patch
    by = (round(MOVED_PX[0] * width / 9500), round(MOVED_PX[1] * width / 9500))
    scene_b[y + by[1] : y + by[1] + side, x + by[0] : x + by[0] + side] = patch
    offset = middle[::-1] - back[::-1, ::-1] @ middle[::-1]
    seen = ndimage.affine_transform(scene_b, back[::-1, ::-1], offset, order=1, mode="nearest")
    flipped = np.interp(seen, [0, 0.25, 0.65, 1.0], [0.05, 0.75, 0.25, 0.95]).astype(np.float32)
    rng = np.random.default_rng(6)
    paths = (folder / f"a.{suffix}", folder / f"b.{suffix}")
    for path, image in zip(paths, (scene, flipped), strict=True):
        for top in range(0, height, 512):
            part = image[top : top + 512]
            part += 0.02 * rng.standard_normal(part.shape, dtype=np.float32)
        np.clip(image, 0, 1, out=image)
        _write(path, image, suffix)
    return (*paths, truth)


def _write(path: Path, image: npt.NDArray[np.float32], suffix: str) -> None:
    if suffix == "tif":
        import tifffile

        colour = np.repeat((image * 65535).astype(np.uint16)[..., None], 3, axis=2)
        tifffile.imwrite(
            path, colour, photometric="rgb", compression="zlib", resolution=(4000, 4000), rowsperstrip=64
        )
    else:
        from PIL import Image

        Image.fromarray(np.repeat((image * 255).astype(np.uint8)[..., None], 3, axis=2)).save(
            path, quality=88
        )
