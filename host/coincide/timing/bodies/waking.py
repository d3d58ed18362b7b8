"""Is a body awake when full-press comes? One that is not fires when it is ready, and no offset reaches it.

Fired once with a longer half-press lead than usual, a body that is awake either way has the same lag. One that is not
comes later with the usual lead by what was missing; usual lead and that difference together would have done.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.session.model import Floats

NOTICED_S = 0.010  # more than lags differ by in passing; a body that waits for its own waking misses by tens


@dataclass(frozen=True, slots=True)
class Asleep:
    """A body, 0 = A, that fires late for want of half-press. missing_s: how much; at_least: the longer lead was too
    short as well."""

    body: int
    missing_s: float
    at_least: bool


def asleep(body: int, usual_s: Floats, longer_s: float, longer_by_s: float) -> Asleep | None:
    """Whether all lags with the usual lead (n,) are later than the one with a lead longer by `longer_by_s`.

    The earliest of them counts: one that scatters comes early now and then. None where the body was awake, or a lag is
    not known.
    """
    seen_s = usual_s[np.isfinite(usual_s)]
    if not seen_s.size or not float(seen_s.min()) - longer_s > NOTICED_S:
        return None
    missing_s = float(np.median(seen_s)) - longer_s
    return Asleep(body, missing_s, at_least=missing_s > longer_by_s - NOTICED_S)
