"""Too few pairs to tell a still centre from a wandering one: when to say so, and what would be known if it wandered.

Where a structure in time is likelier than none, structure.py counts with it. Short of that lies a stretch where the
shots speak for neither: a centre that wanders explains them about as well as one that stands still or warms up. The
interval is then that of the likelier, and the report says what the other would make of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from coincide.timing.offset.level import MOST_SHOTS
from coincide.timing.offset.structure import DRAWS, WALKS, wanders

Floats = npt.NDArray[np.float64]

LEAST_SHOTS = 16  # fewer cannot tell at all, whatever they look like
NEARLY_AS_WELL = -0.25  # nats of a walk over a still centre, before any prior
# Of still series of so many pairs, how many are told this by chance; hardly any scatter's shape matters, as it is a
# question of order (simulated for normal, uniform and Student's t on 4; tests/timing/offset/test_doubt.py).
PAIRS = (16.0, 20.0, 30.0, 40.0, 60.0, 100.0, 200.0, 500.0)
BY_CHANCE = (0.19, 0.16, 0.105, 0.09, 0.063, 0.045, 0.028, 0.007)


@dataclass(frozen=True, slots=True)
class Doubt:
    """half_s: half-width of the 95 % interval of the centre at the end if it wanders. by_chance: share of still series
    of as many pairs that are told so."""

    half_s: float
    by_chance: float


def doubt(skew_s: Floats, lead: float) -> Doubt | None:
    """Doubt for skews (n,) whose steady and warming shapes together lead a plain gaussian by `lead` nats; None where
    the shots speak for one of them, or are too few to ask. Time O(n log n)."""
    y = skew_s[-MOST_SHOTS:]
    if y.size < LEAST_SHOTS or not np.ptp(y) > 0:
        return None
    rows = wanders(y)
    evidence = rows.log_evidence(y)
    walk = float(special.logsumexp(evidence)) - float(np.log(len(WALKS)))
    if walk - max(lead, 0.0) <= NEARLY_AS_WELL:
        return None
    share = special.softmax(evidence)
    rng = np.random.default_rng(1989)
    picked = np.minimum(np.searchsorted(np.cumsum(share), (np.arange(DRAWS) + 0.5) / DRAWS), share.size - 1)
    sigma = np.sqrt(rows.squares[picked] / rng.chisquare(y.size - 1, DRAWS))
    level = rows.level_s[picked] + sigma * np.sqrt(rows.variance[picked]) * rng.standard_normal(DRAWS)
    low, high = (float(end) for end in np.quantile(level, (0.025, 0.975)))
    return Doubt(0.5 * (high - low), float(np.interp(np.log(y.size), np.log(PAIRS), BY_CHANCE)))
