"""A pattern that repeats: waves, a fence, a brick wall. One of its repeats laid on the next looks registered.

What stood still agrees best in its own place, since no two bricks are quite alike; waves, of which nothing stood still,
agree nearly as well a wave further on.
"""

from __future__ import annotations

import math

import numpy as np

from coincide.scans.files.scan import Scan
from coincide.scans.register.alignment import Alignment, Floats
from coincide.scans.register.coarse import block_mean
from coincide.scans.register.tiles import agreement_around

_WORKING_PX = 600  # long side of the copies compared
_TILE_PX = 40
_REACH_PX = 32
_APART_PX = 4  # beyond it a second place is another one
_MOST_TILES = 80


def rival_shift(a: Scan, b: Scan, alignment: Alignment, still_px: Floats) -> float:
    """The agreement of what stood still at the best other shift, over that where it was laid; 0 where it cannot be
    tried."""
    factor = max(1, round(max(a.grey.shape) / _WORKING_PX))
    factor_b = max(1, round(factor * alignment.gauge))
    small_a, small_b = block_mean(a.grey, factor), block_mean(b.grey, factor_b)
    places = (still_px + 0.5) / factor - 0.5
    places = places[:: max(1, math.ceil(len(places) / _MOST_TILES))]
    around = agreement_around(
        small_a, small_b, alignment.reduced(factor, factor_b), places, _TILE_PX, _REACH_PX
    )
    if around is None:
        return 0.0
    steps = np.arange(-_REACH_PX, _REACH_PX + 1)
    away = np.hypot(steps[:, None], steps[None])
    here = float(around[away <= _APART_PX / 2].max())
    return max(0.0, float(around[away > _APART_PX].max())) / max(here, 1e-6)
