"""Which of the matches stood still.

Not simply most of them: a subject full of texture before a plain background is recognised in more places
than the background. What stood still also reaches across the frame, so a reading counts by the area that
holds to it times (squared, since that tells best) how far it is spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coincide.scans.register.alignment import Alignment, Floats, consensus
from coincide.scans.register.tiles import Matches

_LEAST = 8  # matches that make a reading


@dataclass(frozen=True, slots=True)
class Reading:
    """A map and the matches that hold to it. weight: area times spread squared, both 0 to 1. rival: the weight of the
    next reading over this one's."""

    alignment: Alignment
    holds: npt.NDArray[np.bool_]
    weight: float
    rival: float


def stood_still(
    matches: Matches,
    there: Floats,
    mirrored: bool,
    within_px: float,
    frame_px: tuple[int, int],
    rng: np.random.Generator,
) -> Reading | None:
    """The reading of `matches` (A) at `there` (n, 2) that most stands for what stood still; None without any.

    `within_px`: how far off, in the pixels of `there`, a match may lie and still hold. `frame_px`: of A.
    """
    readings = []
    left = np.ones(len(there), np.bool_)
    for _ in range(2):
        if left.sum() < _LEAST:
            break
        found = consensus(
            matches.a_px[left], there[left], matches.doubt[left], matches.area[left], mirrored, within_px, rng
        )
        off = np.linalg.norm(there - found.to_b(matches.a_px), axis=1)
        holds = off < within_px
        readings.append((_weight(matches, holds & left, frame_px), found, holds))
        left = left & (off > 2 * within_px)
    if not readings:
        return None
    readings.sort(key=lambda entry: -entry[0])
    weight, alignment, holds = readings[0]
    rival = readings[1][0] / weight if len(readings) > 1 and weight > 0 else 0.0
    return Reading(alignment, holds, weight, rival)


def _weight(matches: Matches, holds: npt.NDArray[np.bool_], frame_px: tuple[int, int]) -> float:
    """Area of the holding matches times the square of their spread; an even cover of the whole frame makes 1."""
    if holds.sum() < 3:
        return 0.0
    area = matches.area[holds]
    covariance = np.cov(matches.a_px[holds].T, aweights=area, ddof=0)
    even = frame_px[0] * frame_px[1] / 12  # product of the standard deviations of an even cover
    spread = min(1.0, float(np.sqrt(max(np.linalg.det(covariance), 0.0))) / even)
    return float(area.sum()) * spread**2
