"""Two series with the gate sensors' holders turned round in between: what the diodes' placing did, and the skew
without it.

A diode that sits some way off the middle of its holder sits as far off on the other side once the holder is turned
end for end. The skews differ by twice what both diodes do together, and their mean is free of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

from coincide.errors import BadInput
from coincide.session.model import Floats

FEWEST = 3


@dataclass(frozen=True, slots=True)
class Turned:
    """skew_s: mean of both ways; placing_s: what placing had added the first way; either's standard uncertainty
    (the same) and the half-width that holds 95 %."""

    skew_s: float
    placing_s: float
    u_s: float
    half_width_s: float


def turned_holders(first_s: Floats, second_s: Floats) -> Turned:
    """From the skews of both series, NaN left out. Raises BadInput with fewer than three pairs in either."""
    ways = [each[np.isfinite(each)] for each in (first_s, second_s)]
    if min(len(each) for each in ways) < FEWEST:
        raise BadInput(
            "To tell what turning the holders did takes three pairs each way, both ways: fire more."
        )
    means = [float(np.mean(each)) for each in ways]
    parts = [float(np.var(each, ddof=1)) / len(each) for each in ways]
    u_s = 0.5 * float(np.sqrt(sum(parts)))
    # Welch and Satterthwaite, as of any difference of two means.
    dof = sum(parts) ** 2 / max(sum(p**2 / (len(w) - 1) for p, w in zip(parts, ways, strict=True)), 1e-300)
    half = u_s * float(stats.t.ppf(0.975, dof)) if u_s else 0.0
    return Turned(0.5 * (means[0] + means[1]), 0.5 * (means[0] - means[1]), u_s, half)
