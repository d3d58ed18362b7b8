"""Do values depend on their order? One test with a known false-alarm rate, and what likeness of neighbours costs.

Bartels' rank version of von Neumann's ratio (Bartels 1982, memory): the mean square of neighbours' differences over the
variance, of ranks, so that it holds for any scatter. Small where neighbours are alike: after a step, in a slow
movement, in an oscillation longer than a few shots, or where neighbours share scatter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import stats

Floats = npt.NDArray[np.float64]

LEAST = 8  # values below which nothing is asked
ALARM = 0.02  # chance that independent values are taken to depend on their order
MOST_LIKE = 0.95


def order_p(values: Floats) -> float:
    """Chance that independent values (n,), in order, have neighbours so alike; 1.0 below LEAST of them.

    A quarter of the ratio is taken as a beta with its exact mean and variance.
    """
    n = values.size
    if n < LEAST or np.ptp(values) == 0:
        return 1.0
    rank = stats.rankdata(values)
    ratio = float(np.sum(np.diff(rank) ** 2) / np.sum((rank - rank.mean()) ** 2))
    shape = 5.0 * n * (n + 1.0) * (n - 1.0) ** 2 / (2.0 * (n - 2.0) * (5.0 * n**2 - 2.0 * n - 9.0)) - 0.5
    return float(stats.beta.cdf(0.25 * ratio, shape, shape))


def likeness(values: Floats) -> float:
    """Correlation of neighbours, 0 to MOST_LIKE; the estimate's bias, about -(1 + 4 r) / n, taken off (Kendall 1954,
    memory)."""
    n = values.size
    rest = values - values.mean()
    squares = float(rest @ rest)
    if n < LEAST or squares == 0.0:
        return 0.0
    r = float(rest[1:] @ rest[:-1]) / squares
    return float(np.clip((r + 1.0 / n) / (1.0 - 4.0 / n), 0.0, MOST_LIKE))


def worth(values: Floats) -> float:
    """Share of the values that as many independent ones would be worth for their mean: 1 where the test finds nothing,
    else (1 - r) / (1 + r) of scatter whose neighbours correlate by r."""
    if order_p(values) >= ALARM:
        return 1.0
    r = likeness(values)
    return (1.0 - r) / (1.0 + r)
