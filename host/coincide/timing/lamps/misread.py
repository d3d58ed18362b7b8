"""Frames of the lamp row that were probably miscounted.

A body exposes every frame alike, so an odd span tells; a count that begins at a wrong lamp keeps the span and shows in
the skew, which Grubbs' test for an outlier judges (F. E. Grubbs, Technometrics 11, 1969; also in ISO 5725-2).
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from typing import Protocol

import numpy as np
import numpy.typing as npt
from scipy import stats

from coincide.rig.model import Rig
from coincide.session.model import BODIES

LEAST_FRAMES = 4  # of a body, before one of them can be called odd
ODD_STEPS = 2.5  # first and last lamp are each a step uncertain
ODD_DEVIATIONS = 5.0
MOST_SHARE = 0.25  # where more are odd, it is the body
FAR_STEPS = 2.0  # the steps alone put a skew up to one off
FALSE_ALARMS = 0.01  # of sessions in which nothing is odd

READ_AGAIN = "read it again with 'coincide lamps read'; read the same twice, it counts"


class Photographed(Protocol):
    """A pair as `LampPair` has it."""

    @property
    def number(self) -> int: ...
    @property
    def step_s(self) -> float: ...
    @property
    def exposure_s(self) -> tuple[float, float]: ...
    @property
    def skew_s(self) -> float: ...
    @property
    def lag_s(self) -> tuple[float, float]: ...


def misread(
    pairs: Sequence[Photographed], rig: Rig, sure: Set[tuple[int, int]]
) -> tuple[frozenset[int], list[str]]:
    """Numbers of pairs with a frame that was probably miscounted, and a sentence each.

    pairs: of one speed of the row. Judged by each frame's last lamp less its first, then by the skew. sure: frames
    (pair, body) that were read the same twice; they count whatever they show.
    """
    odd, said = _odd_spans(pairs, rig, sure)
    rest = [pair for pair in pairs if pair.number not in odd]
    for at, others_s in _odd_skews(rest):
        pair = rest[at]
        index = _on_which(pair, rest)
        if {(pair.number, one) for one in ((0, 1) if index is None else (index,))} <= sure:
            continue
        where = "" if index is None else f" on the frame of {rig.both[index].name} ({BODIES[index]})"
        low, high = (edge * 1e3 for edge in (others_s.min(), others_s.max()))
        odd.add(pair.number)
        said.append(
            f"Pair {pair.number} is left out of offset and keepers: its skew is {pair.skew_s * 1e3:.1f} ms where the "
            f"others show {low:.1f} to {high:.1f} ms. A lamp was probably miscounted{where}, or a "
            f"body was off that once: {READ_AGAIN}."
        )
    return frozenset(odd), said


def _odd_skews(pairs: Sequence[Photographed]) -> list[tuple[int, npt.NDArray[np.float64]]]:
    """Index of each pair whose skew is an outlier, with the skews, s, that are none; empty where too many are."""
    skews_s = np.array([pair.skew_s for pair in pairs])
    left = np.flatnonzero(np.isfinite(skews_s))
    most, odd = MOST_SHARE * left.size, []
    while left.size > LEAST_FRAMES:
        seen = skews_s[left]
        off = np.abs(seen - seen.mean())
        worst = int(off.argmax())
        apart_s = abs(seen[worst] - np.median(np.delete(seen, worst)))
        spread_s = float(seen.std(ddof=1))
        if apart_s <= FAR_STEPS * pairs[0].step_s or off[worst] <= grubbs_limit(left.size) * spread_s:
            break
        odd.append(int(left[worst]))
        left = np.delete(left, worst)
    return [(at, skews_s[left]) for at in odd] if len(odd) <= most else []


def grubbs_limit(count: int) -> float:
    """Greatest distance from the mean of `count` values, in their standard deviations (two-sided, FALSE_ALARMS)."""
    t2 = float(stats.t.isf(FALSE_ALARMS / (2.0 * count), count - 2)) ** 2
    return float((count - 1) / np.sqrt(count) * np.sqrt(t2 / (count - 2 + t2)))


def _on_which(pair: Photographed, pairs: Sequence[Photographed]) -> int | None:
    """The body (0 = A) whose lag is off the most in this pair; None where no lag is known."""
    usual_s = np.array([[one.lag_s[index] for one in pairs if one is not pair] for index in (0, 1)])
    if not np.isfinite(pair.lag_s).all() or not np.isfinite(usual_s).any(axis=1).all():
        return None
    return int(np.abs(np.array(pair.lag_s) - np.nanmedian(usual_s, axis=1)).argmax())


def _odd_spans(
    pairs: Sequence[Photographed], rig: Rig, sure: Set[tuple[int, int]]
) -> tuple[set[int], list[str]]:
    odd: set[int] = set()
    said: list[str] = []
    for index, letter in enumerate(BODIES):
        spans_s = np.array([pair.exposure_s[index] for pair in pairs])
        seen = np.isfinite(spans_s)
        if seen.sum() < LEAST_FRAMES:
            continue
        centre_s = float(np.median(spans_s[seen]))
        off_s = np.abs(spans_s - centre_s)
        usual_s = ODD_DEVIATIONS * 1.4826 * float(np.median(off_s[seen]))
        far = seen & (off_s > max(ODD_STEPS * pairs[0].step_s, usual_s))
        far &= [(pair.number, index) not in sure for pair in pairs]
        if far.sum() > MOST_SHARE * seen.sum():
            continue
        low, high = (edge * 1e3 for edge in (spans_s[seen & ~far].min(), spans_s[seen & ~far].max()))
        for pair, is_far in zip(pairs, far.tolist(), strict=True):
            if is_far:
                odd.add(pair.number)
                said.append(
                    f"Pair {pair.number} is left out: its frame of {rig.both[index].name} ({letter}) shows "
                    f"{pair.exposure_s[index] * 1e3:.1f} ms where the others show {low:.1f} to {high:.1f} ms. A lamp "
                    f"was probably miscounted: {READ_AGAIN}."
                )
    return odd, said
