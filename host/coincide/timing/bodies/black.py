"""Frames that got no light: the shutter closed its contact, and a gate sensor that works saw nothing.

    black         the sensor saw light in pairs before and after: the shutter ran closed, or did not run
    unsure        it saw none any more, or not yet: the shutter, or the sensor that slipped

Neither is a keeper. A shutter whose curtains run together exposes nothing; its contact closes as ever.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coincide.session.model import BODIES
from coincide.timing.finding import Finding

Flags = npt.NDArray[np.bool_]
NAMED = 6


def between_sightings(black: Flags, lit: Flags) -> Flags:
    """Of the black rows (n,) those with a lit one before and after: there the sensor is known to have worked."""
    seen = np.flatnonzero(lit)
    if not seen.size:
        return np.zeros(black.size, dtype=np.bool_)
    row = np.arange(black.size)
    return np.asarray(black & (row > seen[0]) & (row < seen[-1]), dtype=np.bool_)


def notice_black(
    black: Flags, lit: Flags, number: npt.NDArray[np.int64], names: tuple[str, str]
) -> tuple[Finding, ...]:
    """A finding a body. black, lit (n, 2): frames without light, and frames whose light was seen."""
    found = []
    for index, name in enumerate(names):
        rows = black[:, index]
        if not rows.any():
            continue
        sure = between_sightings(rows, lit[:, index])
        who, count = f"{name} ({BODIES[index]})", int(rows.sum())
        numbers = {"black": float(sure.sum()), "unsure": float(count - sure.sum()), "pairs": float(rows.size)}
        which = _which(number[rows])
        if int(sure.sum()) == count:
            say = f"{who} fired its contact in {which} and let no light through ({count} of {rows.size}): black frames."
            advice = (
                "They are no keepers. Its shutter runs closed: have it serviced, and test it with film before you "
                "trust it."
            )
        else:
            say = (
                f"{who} fired its contact in {which} and no light was seen ({count} of {rows.size}): black frames, or "
                "the gate sensor slipped."
            )
            advice = (
                "They do not count as keepers. Look at the sensor and the lamp; if both are well, the shutter runs "
                "closed: have it serviced."
            )
        found.append(Finding("black", BODIES[index], say, advice, numbers))
    return tuple(found)


def _which(number: npt.NDArray[np.int64]) -> str:
    shots = ", ".join(str(int(one)) for one in number[:NAMED]) + (", ..." if number.size > NAMED else "")
    return f"{'shot' if number.size == 1 else 'shots'} {shots}"
