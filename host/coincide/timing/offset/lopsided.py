"""Is the scatter lopsided? Mean against median, which heavy tails and a few wild shots hardly move.

The difference of mean and median over the mean distance from the median (Miao, Gel and Gastwirth 2006, memory): for a
normal scatter of n its variance is pi/2 (pi/2 - 1) / n, for a flat one 4/3 / n.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

Floats = npt.NDArray[np.float64]

ALARM = 0.08  # chance that a symmetric scatter is asked whether its tail costs keepers; it seldom does (suggest.py)
LEAST = 15  # shots below which it is not asked
NORMAL, FLAT = 0.5 * np.pi * (0.5 * np.pi - 1.0), 4.0 / 3.0


def lean(values: Floats, flat: float = 0.0) -> float:
    """Standard deviations by which the mean of values (n,) lies off their median: positive with a tail upward. flat:
    the chance that the scatter is a flat one."""
    apart = np.abs(values - np.median(values))
    if values.size < LEAST or not apart.any():
        return 0.0
    off = (values.mean() - np.median(values)) / apart.mean()
    return float(off / np.sqrt(((1.0 - flat) * NORMAL + flat * FLAT) / values.size))


def tail(values: Floats, flat: float = 0.0) -> int:
    """The side of the long tail of values (n,), 1 or -1; 0 where they are as even as chance has it, at ALARM."""
    off = lean(values, flat)
    return int(np.sign(off)) if 2.0 * float(special.ndtr(-abs(off))) < ALARM else 0
