"""How a curtain crosses the frame: position against time, from one shape parameter.

A curtain under constant force, already moving when it enters the frame: with tau the time since entering
in travel times and r the run-up in the same unit, the position is p = ((tau + r)^2 - r^2) / (1 + 2 r).
r = 0 starts from rest at the frame's edge; r -> infinity is constant speed. The shape parameter `curve` is
the part of the travel time left when the curtain passes the frame's centre: 1 - tau(1/2).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

CURVE_FROM_REST = 1.0 - np.sqrt(0.5)  # 0.293
CURVE_CONSTANT = 0.5


def time_at(position: npt.ArrayLike, curve: float) -> npt.NDArray[np.float64]:
    """Times (in travel times, 0 to 1) at which a curtain passes `position` (0 where it enters, 1 where it leaves).

    A curve of 0.5 or more (constant speed, or a curtain that is braked) is taken as a straight line bent
    as much the other way: the mirror image of the accelerating curtain.
    """
    p = np.asarray(position, dtype=np.float64)
    if curve > CURVE_CONSTANT:
        return 1.0 - time_at(1.0 - p, 1.0 - curve)
    tau_centre = 1.0 - max(curve, CURVE_FROM_REST)
    if tau_centre - 0.5 < 1e-9:
        return p
    run_up = max((0.5 - tau_centre**2) / (2.0 * tau_centre - 1.0), 0.0)
    return np.asarray(np.sqrt(run_up**2 + p * (1.0 + 2.0 * run_up)) - run_up, dtype=np.float64)
