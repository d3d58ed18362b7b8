"""Both scans as edge orientation on one grid: B laid on A, rims and borders left out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from coincide.scans.register.alignment import Alignment
from coincide.scans.register.coarse import block_mean
from coincide.scans.register.gate import Gate, gate
from coincide.scans.register.orientation import Field, Reals, gradient_floor, orientation, without_drift
from coincide.scans.register.tiles import sample
from coincide.scans.workers import spread

Mask = npt.NDArray[np.bool_]

_DRIFT_PX = 12.0
_RIM_PX = 6
_GATE_RIM_PX = 8


@dataclass(frozen=True, slots=True)
class Fields:
    """Orientation of A and of B laid on A, both reduced by `factor`; `seen` where B has something to show. grey: A so
    reduced."""

    factor: int
    grey: Reals
    a: Field
    b: Field
    seen: Mask


def fields(
    a: Reals, b: Reals, alignment: Alignment, factor: int, gates: tuple[Gate, Gate] | None = None
) -> Fields:
    """`a` and `b` (h, w) under `alignment`, reduced by `factor`; the film gates, where they were found already."""
    factor_b = max(1, round(factor * alignment.at(np.array([a.shape[1] / 2, a.shape[0] / 2])).scale))
    small_a, small_b = block_mean(a, factor), block_mean(b, factor_b)
    laid, seen = laid_on(small_b, alignment.reduced(factor, factor_b), (small_a.shape[0], small_a.shape[1]))
    shown = laid[seen.any(axis=1)][:, seen.any(axis=0)]
    field_a, field_b = spread(
        lambda pair: orientation(pair[0], _floor_of(pair[1])), ((small_a, small_a), (laid, shown))
    )
    unseen = ndimage.binary_dilation(~seen, iterations=_RIM_PX)
    unseen |= _bordered(gates or (gate(a), gate(b)), alignment, factor, (small_a.shape[0], small_a.shape[1]))
    unseen[:_RIM_PX] = unseen[-_RIM_PX:] = True
    unseen[:, :_RIM_PX] = unseen[:, -_RIM_PX:] = True
    for field in (field_a, field_b):
        field[unseen] = 0
    field_a, field_b = spread(lambda field: without_drift(field, _DRIFT_PX), (field_a, field_b))
    for field in (field_a, field_b):
        field[unseen] = 0
    return Fields(factor, small_a, field_a, field_b, ~unseen)


def _bordered(gates: tuple[Gate, Gate], alignment: Alignment, factor: int, shape: tuple[int, int]) -> Mask:
    """Where either scan shows the film frame's own border, and a rim about it, in A reduced by `factor`."""
    out = np.zeros(shape, np.bool_)
    if not any(one.lines for one in gates):
        return out
    rows, columns = np.indices(shape)
    places = (np.stack([columns, rows], axis=-1).astype(np.float64) + 0.5) * factor - 0.5
    out |= ~gates[0].inside(places)
    if gates[1].lines:
        out |= ~gates[1].inside(alignment.to_b(places))
    return np.asarray(ndimage.binary_dilation(out, iterations=_GATE_RIM_PX), np.bool_)


def _floor_of(image: Reals) -> float:
    """From bands all over the image, so that a large one costs no more."""
    bands = max(1, image.shape[0] // 128)
    every = max(1, image.size // 3_000_000)
    kept = [image[k * 128 : (k + 1) * 128] for k in range(0, bands, every)]
    return gradient_floor(np.concatenate(kept))


def laid_on(b: Reals, alignment: Alignment, shape: tuple[int, int]) -> tuple[Reals, Mask]:
    """B as A would see it, (rows, columns) = `shape`, and where B reaches. Done in strips to bound memory."""
    out = np.zeros(shape, np.float32)
    seen = np.zeros(shape, np.bool_)
    columns = np.arange(shape[1], dtype=np.float64)
    strip = max(1, 500_000 // shape[1])

    def lay(top: int) -> None:
        rows = np.arange(top, min(top + strip, shape[0]), dtype=np.float64)
        points = alignment.to_b(np.stack(np.meshgrid(columns, rows), axis=-1))
        inside = (
            (points[..., 0] >= 0)
            & (points[..., 0] <= b.shape[1] - 1)
            & (points[..., 1] >= 0)
            & (points[..., 1] <= b.shape[0] - 1)
        )
        if inside.any():
            np.clip(points, 0, [b.shape[1] - 1, b.shape[0] - 1], out=points)
            out[top : top + len(rows)] = sample(b, points)
            seen[top : top + len(rows)] = inside

    spread(lay, range(0, shape[0], strip))
    return out, seen
