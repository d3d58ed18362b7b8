"""First guess of how scan B lies on scan A: mirrored or not, turned, scaled, shifted, at thumbnail size.

Every hypothesis is tried and correlated whole; the best few go on to be judged tile by tile.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy import fft, ndimage

from coincide.scans.register.alignment import Alignment, Floats
from coincide.scans.register.orientation import Field, Reals, gradient_floor, orientation, without_drift

THUMB_PX = 160
SKETCH_PX = 80
TURNS_DEG = (-5.0, -2.5, 0.0, 2.5, 5.0)  # on the sketch; half a step further on is still recognised
SCALES = (0.927, 0.963, 1.0, 1.038, 1.079)
_FINE_TURNS_DEG = (-1.25, 0.0, 1.25)
_FINE_SCALES = (0.981, 1.0, 1.019)
_APART_PX = 2.5
_DRIFT = 1 / 16  # of the thumbnail: the local mean taken off the field


@dataclass(frozen=True, slots=True)
class Guess:
    """A map between thumbnails and how well they agree under it, 0 to 1."""

    alignment: Alignment
    score: float
    mirrored: bool
    quarter: int
    turn_deg: float
    scale: float


def block_mean(image: Reals, factor: int) -> Reals:
    """Average of every factor x factor block (rows and columns left over at the far edges are dropped)."""
    if factor == 1:
        return image
    rows, columns = image.shape[0] // factor, image.shape[1] // factor
    out = np.empty((rows, columns), np.float32)
    step = max(1, 512 // factor)
    for top in range(0, rows, step):
        part = image[top * factor : min(top + step, rows) * factor, : columns * factor]
        # Rows first: adding long rows is fast, adding a few neighbours is not.
        bands = part.reshape(-1, factor, columns * factor).sum(axis=1)
        total = bands[:, ::factor].copy()
        for column in range(1, factor):
            total += bands[:, column::factor]
        out[top : top + step] = total / np.float32(factor * factor)
    return out


class Finder:
    """Tries ways of laying thumbnail `b` on thumbnail `a`."""

    def __init__(self, a: Reals, b: Reals) -> None:
        self.b = b
        self.floor_b = gradient_floor(b)
        self.shape_a = a.shape
        self.drift_px = max(a.shape) * _DRIFT
        size = fft.next_fast_len(int(max(a.shape) + 1.25 * math.hypot(*a.shape)))
        self.size = (size, size)
        field = without_drift(orientation(a), self.drift_px)
        self.spectrum_a = np.conj(fft.fft2(field, s=self.size))
        self.total_a = float((np.abs(field) ** 2).sum())

    def search(self, ratios: Iterable[float], quarters: Iterable[int], best: int) -> list[Guess]:
        """The `best` guesses for each way of holding B (mirrored, quarter turns), over all turns and scales.

        `ratios`: B's detail over A's, in thumbnail pixels; SCALES are tried about each.
        """
        kept: list[Guess] = []
        for quarter in quarters:
            for mirrored in (False, True):
                found = [
                    self._try(ratio * scale, turn + 90.0 * quarter, mirrored, quarter)[0]
                    for ratio in ratios
                    for scale in SCALES
                    for turn in TURNS_DEG
                ]
                kept += sorted(found, key=lambda guess: -guess.score)[:best]
        return kept

    def polish(self, guess: Guess, enlarged_a: float, enlarged_b: float) -> list[Guess]:
        """`guess`, made on sketches that these thumbnails enlarge, with turn and scale between the steps.

        Two guesses: the best, and the best that differs from it in the shift, for scenes in which much moved.
        """
        near = guess.scale * enlarged_b / enlarged_a
        found = [
            one
            for scale in _FINE_SCALES
            for turn in _FINE_TURNS_DEG
            for one in self._try(near * scale, guess.turn_deg + turn, guess.mirrored, guess.quarter)
        ]
        best = max(found, key=lambda tried: tried.score)
        others = [one for one in found if not self.alike(one, best)]
        return [best, max(others, key=lambda tried: tried.score)] if others else [best]

    def alike(self, one: Guess, other: Guess) -> bool:
        """The two lay the middle of A on much the same place of B."""
        middle = np.array([self.shape_a[1] / 2, self.shape_a[0] / 2])
        apart = one.alignment.to_b(middle) - other.alignment.to_b(middle)
        same = (one.mirrored, one.quarter) == (other.mirrored, other.quarter)
        return same and float(np.linalg.norm(apart)) < _APART_PX * one.scale

    def _try(self, scale: float, turn_deg: float, mirrored: bool, quarter: int) -> list[Guess]:
        cosine, sine = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
        linear = scale * np.array([[cosine, -sine], [sine, cosine]])
        if mirrored:
            linear = linear @ np.diag([-1.0, 1.0])
        field, offset = self._turned_b(linear)
        spectrum = fft.fft2(field, s=self.size)
        spectrum *= self.spectrum_a
        agreement = fft.ifft2(spectrum, overwrite_x=True).real
        score = agreement / math.sqrt(self.total_a * float((np.abs(field) ** 2).sum()) + 1e-6)
        found = []
        for _ in range(2):
            y, x = divmod(int(score.argmax()), self.size[1])
            best = float(score[y, x])
            shift = np.array(
                [_signed(x, self.size[1], self.shape_a[1]), _signed(y, self.size[0], self.shape_a[0])]
            )
            matrix = np.eye(3)
            matrix[:2, :2] = linear
            matrix[:2, 2] = linear @ shift + offset
            found.append(Guess(Alignment("similarity", matrix), best, mirrored, quarter, turn_deg, scale))
            rows, columns = np.arange(y - 2, y + 3) % self.size[0], np.arange(x - 2, x + 3) % self.size[1]
            score[np.ix_(rows, columns)] = -1.0
        return found

    def _turned_b(self, linear: Floats) -> tuple[Field, Floats]:
        """B resampled so that its pixel u shows B's `linear @ u + offset`, as an orientation field."""
        rows, columns = self.b.shape
        corners = np.array([[0, 0], [columns - 1, 0], [0, rows - 1], [columns - 1, rows - 1]], float)
        seen = corners @ np.linalg.inv(linear).T
        low, high = seen.min(axis=0), seen.max(axis=0)
        shape = np.minimum(np.ceil(high - low).astype(int) + 1, np.array(self.size)[::-1] - 1)
        offset = linear @ low
        swap = linear[::-1, ::-1]
        turned = ndimage.affine_transform(
            self.b, swap, offset[::-1], output_shape=(shape[1], shape[0]), order=1, cval=-1.0
        )
        outside = ndimage.binary_dilation(turned < 0, iterations=3)
        field = orientation(np.where(turned < 0, 0, turned), self.floor_b)
        field[outside] = 0
        field = without_drift(field, self.drift_px)
        field[outside] = 0
        return field, offset


def _signed(index: int, size: int, extent_a: int) -> int:
    """Circular shift to a signed one: shifts run from 1 - extent_a upwards."""
    return index - size if index > size - extent_a else index
