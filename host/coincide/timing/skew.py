"""Lags and skews of a series, from its mid-exposures."""

from __future__ import annotations

import numpy as np

from coincide.session.model import Floats, Shots
from coincide.timing.shutter.mid_exposure import MidExposures


def lags_s(shots: Shots, mids: MidExposures) -> Floats:
    """Release lag of each body, (n, 2): mid-exposure minus its own full-press; NaN where unknown."""
    return np.asarray(mids.mid_s - shots.full_s, dtype=np.float64)


def skews_s(mids: MidExposures) -> Floats:
    """Skew of each pair, (n,): mid-exposure B minus mid-exposure A, positive when B is late."""
    return np.asarray(mids.mid_s[:, 1] - mids.mid_s[:, 0], dtype=np.float64)


def offsets_on_s(shots: Shots) -> Floats:
    """Offset that was on in each pair, (n,): what the full-press edges really show, else what was commanded.

    Positive when body A was held back.
    """
    seen = shots.full_s[:, 0] - shots.full_s[:, 1]
    commanded = shots.delay_s[:, 0] - shots.delay_s[:, 1]
    return np.asarray(np.where(np.isfinite(seen), seen, commanded), dtype=np.float64)
