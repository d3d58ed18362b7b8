"""Frames of the lamp row that were probably miscounted: a body exposes every frame alike, so an odd one tells."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np

from coincide.rig.model import Rig
from coincide.session.model import BODIES

LEAST_FRAMES = 4  # of a body, before one of them can be called odd
ODD_STEPS = 2.5  # first and last lamp are each a step uncertain
ODD_DEVIATIONS = 5.0
MOST_SHARE = 0.25  # where more are odd, it is the body


class Photographed(Protocol):
    """A pair as `LampPair` has it."""

    @property
    def number(self) -> int: ...
    @property
    def step_s(self) -> float: ...
    @property
    def exposure_s(self) -> tuple[float, float]: ...


def misread(pairs: Sequence[Photographed], rig: Rig) -> tuple[frozenset[int], list[str]]:
    """Numbers of pairs with a frame that was probably miscounted, and a sentence each.

    pairs: of one speed of the row. Judged by each frame's last lamp less its first.
    """
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
        if far.sum() > MOST_SHARE * seen.sum():
            continue
        low, high = (edge * 1e3 for edge in (spans_s[seen & ~far].min(), spans_s[seen & ~far].max()))
        for pair, is_far in zip(pairs, far.tolist(), strict=True):
            if is_far:
                odd.add(pair.number)
                said.append(
                    f"Pair {pair.number} is left out: its frame of {rig.both[index].name} ({letter}) shows "
                    f"{pair.exposure_s[index] * 1e3:.1f} ms where the others show {low:.1f} to {high:.1f} ms. A lamp "
                    f"was probably miscounted: read it again with 'coincide lamps read'."
                )
    return frozenset(odd), said
