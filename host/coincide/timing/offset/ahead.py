"""Looking ahead from a series: the same posterior, with more heed of a warm-up too slow to have shown.

The offset speaks of the end of a series, where a warm-up that the shots do not show has little room left. What
comes after the series is another matter: there it goes on, for as long again, and a foretelling that was
right to neglect it now falls short. So what is foretold of further shots weighs the same draws by another
prior: a drift is likelier, and either slight (of the order of the scatter) or large, since a large one is
seen anyway. The draws themselves stay; their weights are multiplied by the ratio of the two priors
(importance sampling, as in `level.py`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from coincide.timing.offset.level import CHANGE_PRIOR, DRIFT_PRIOR, LevelDraws

Floats = npt.NDArray[np.float64]

AHEAD_DRIFT_PRIOR = 0.5
AHEAD_CHANGES = (2.0, 20.0)  # standard deviations of the scatter; each half of the drifts
BEYOND_DOUBT = 24.0  # a change of so many needs no prior, and its ratio of two priors would know no bounds


def looking_ahead(draws: LevelDraws) -> LevelDraws:
    """The draws of `draw_level`, made with its usual priors, weighted for what comes after the series."""
    drifting = np.isfinite(draws.time_constant)
    change = np.minimum(np.abs(draws.change_s) / draws.jitter_s(), BEYOND_DOUBT)
    slight_or_large = sum(_normal(change, spread) for spread in AHEAD_CHANGES) / len(AHEAD_CHANGES)
    drift = AHEAD_DRIFT_PRIOR / DRIFT_PRIOR * slight_or_large / _normal(change, CHANGE_PRIOR)
    steady = (1.0 - AHEAD_DRIFT_PRIOR) / (1.0 - DRIFT_PRIOR)
    # What shows structure in time is taken as it is.
    other = np.arange(drifting.size) >= drifting.size - draws.structured
    weight = draws.weight * np.where(other, 1.0, np.where(drifting, drift, steady))
    return replace(draws, weight=weight / weight.sum())


def _normal(value: Floats, spread: float) -> Floats:
    """Normal density about zero, but for the root of two pi."""
    return np.asarray(np.exp(-0.5 * (value / spread) ** 2) / spread, dtype=np.float64)
