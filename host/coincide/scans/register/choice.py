"""Which map two scans need: the one that best predicts places held out of its fit.

The frame is cut into blocks; every map is fitted without a block and judged on it, so that a map which runs free where
nothing holds it is found out. Cross-validation by blocks, as neighbouring places err together (Stone 1974; Roberts et
al. 2017; both from memory).
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import numpy.typing as npt

from coincide.scans.register.alignment import (
    CUT,
    KINDS,
    Alignment,
    Fit,
    Floats,
    fit_homography,
    fit_similarity,
    fit_smooth,
    refined,
)

_LEAST = {"similarity": 0, "homography": 30, "smooth": 60}  # matches
_BLOCKS = (4, 3)  # across, down
_WORTH = 1.0  # a richer map must predict better by so many standard errors over the blocks
_WORTH_PX = 0.03  # and move some part of the frame by this

Fitter = Callable[[Floats, npt.NDArray[np.bool_]], Alignment]


def fit_best(
    a: Floats,
    b: Floats,
    doubt: Floats,
    first: Alignment,
    frame_px: tuple[int, int],
    richest: str = "smooth",
    plainest: str = "similarity",
) -> tuple[Fit, dict[str, float]]:
    """The map from `plainest` to `richest` that predicts held-out matches best; of equals the plainer.

    a, b (n, 2), doubt (n,); `first`: a map most of them hold to; `frame_px`: width, height of A. Returns the chosen
    fit and, for each map tried, the rms by which it missed the held-out matches, pixels of A, those that no map
    predicts cut off.
    """
    gauge, mirrored = first.gauge, first.mirrored
    centre = ((frame_px[0] - 1) / 2, (frame_px[1] - 1) / 2)
    reach = max(frame_px) / 2
    fitters: dict[str, Fitter] = {
        "similarity": lambda w, k: fit_similarity(a[k], b[k], w[k], mirrored),
        "homography": lambda w, k: fit_homography(a[k], b[k], w[k]),
        "smooth": lambda w, k: fit_smooth(a[k], b[k], w[k], centre, reach),
    }
    tried = [kind for kind in KINDS[: KINDS.index(richest) + 1] if len(a) >= _LEAST[kind]]
    fits: dict[str, Fit] = {}
    start = first
    for kind in tried:
        fitter = partial(_everywhere, fitters[kind])
        fits[kind] = refined(fitter, start, a, b, doubt, gauge)
        start = fits[kind].alignment
    cut = 1.5 * CUT * min(fit.deviation_px for fit in fits.values())
    blocks = _blocks(a, frame_px)
    missed = {kind: _missed(fitters[kind], fits[kind], a, b, doubt, blocks, cut, gauge) for kind in tried}
    allowed = [kind for kind in tried if KINDS.index(kind) >= KINDS.index(plainest)] or tried[-1:]
    chosen = allowed[0]
    for kind in allowed[1:]:
        if _better(missed[kind], missed[chosen]) and _differs(fits[kind], fits[chosen], a, gauge):
            chosen = kind
    return fits[chosen], {kind: float(np.sqrt(loss.sum() / len(a))) for kind, loss in missed.items()}


def _everywhere(fitter: Fitter, weight: Floats) -> Alignment:
    return fitter(weight, np.ones(len(weight), np.bool_))


def _blocks(a: Floats, frame_px: tuple[int, int]) -> npt.NDArray[np.intp]:
    across, down = (
        np.clip((a[:, axis] / frame_px[axis] * _BLOCKS[axis]).astype(np.intp), 0, _BLOCKS[axis] - 1)
        for axis in (0, 1)
    )
    return np.asarray(np.unique(down * _BLOCKS[0] + across, return_inverse=True)[1], np.intp)


def _missed(
    fitter: Fitter,
    whole: Fit,
    a: Floats,
    b: Floats,
    doubt: Floats,
    blocks: npt.NDArray[np.intp],
    cut_px: float,
    gauge: float,
) -> Floats:
    """Summed squares, block by block, of what a fit without the block misses in it."""
    losses = []
    for block in range(int(blocks.max()) + 1):
        out = blocks == block
        keep = ~out & (whole.weight > 0)
        map_ = fitter(whole.weight, keep) if keep.sum() >= 12 else whole.alignment
        off = np.linalg.norm(b[out] - map_.to_b(a[out]), axis=1) / gauge / doubt[out]
        losses.append(float((np.minimum(off, cut_px) ** 2).sum()))
    return np.array(losses)


def _better(richer: Floats, plainer: Floats) -> bool:
    gain = plainer - richer
    error = float(gain.std(ddof=1)) * len(gain) ** 0.5 if len(gain) > 1 else np.inf
    return bool(gain.sum() > _WORTH * error)


def _differs(richer: Fit, plainer: Fit, a: Floats, gauge: float) -> bool:
    apart = np.linalg.norm(richer.alignment.to_b(a) - plainer.alignment.to_b(a), axis=1) / gauge
    return bool(np.quantile(apart, 0.9) > _WORTH_PX)
