"""How far across the frame a curtain is at what time: the clock of a sweep.

A curtain under constant force that has been running before it enters the frame is, tau travel times after
entering, at p = ((tau + r)**2 - r**2) / (1 + 2 r), with r the run-up in travel times. `curve` is the part of
the travel time that is left when it passes the frame's centre: 0.5 at constant speed, 0.293 from rest.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FROM_REST = 1.0 - np.sqrt(0.5)
CONSTANT = 0.5


def time_at(position: npt.ArrayLike, curve: float) -> npt.NDArray[np.float64]:
    """When a curtain passes `position`, in travel times: 0 at the edge where it enters, 1 where it leaves.

    A curve above 0.5 is a curtain that is braked, the mirror image of one that accelerates.
    """
    p = np.asarray(position, dtype=np.float64)
    if curve > CONSTANT:
        return 1.0 - time_at(1.0 - p, 1.0 - curve)
    at_centre = 1.0 - max(curve, FROM_REST)
    if at_centre - 0.5 < 1e-9:
        return p
    run_up = max((0.5 - at_centre**2) / (2.0 * at_centre - 1.0), 0.0)
    return np.asarray(np.sqrt(run_up**2 + p * (1.0 + 2.0 * run_up)) - run_up, dtype=np.float64)
