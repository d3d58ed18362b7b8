"""Which channel is which body: by bangs of one body alone at the start, or by what the person says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from coincide.errors import BadInput

BANGS = 3  # of each body alone
Who = Literal["left", "right", "both", "neither"]
LEFT_NAME, RIGHT_NAME = "the left channel", "the right channel"


@dataclass(frozen=True, slots=True)
class Naming:
    """a: the channel (0 left, 1 right) that is body A. how: 'bangs', 'said' or None, when nobody knows."""

    a: int
    how: Literal["bangs", "said"] | None

    @property
    def known(self) -> bool:
        return self.how is not None


def said(text: str) -> Naming:
    """From "left=B right=A". Raises BadInput in a sentence."""
    found = dict(word.split("=", 1) for word in text.lower().split() if "=" in word)
    if set(found) != {"left", "right"} or set(found.values()) != {"a", "b"}:
        raise BadInput(
            f'--channels: \'{text}\' was found; "left=A right=B" or "left=B right=A" was expected.'
        )
    return Naming(0 if found["left"] == "a" else 1, "said")


def from_bangs(who: Sequence[Who]) -> Naming:
    """From the bangs in order: three or more of one channel alone, then three or more of the other, before the
    first of both.

    Raises BadInput where there are bangs of one body alone that do not say it, as when one channel is silent
    throughout."""
    lone = []
    for one in who:
        if one == "both":
            break
        if one != "neither":
            lone.append(one)
    runs: list[tuple[Who, int]] = []
    for one in lone:
        if runs and runs[-1][0] == one:
            runs[-1] = (one, runs[-1][1] + 1)
        else:
            runs.append((one, 1))
    if len(runs) == 2 and min(count for _, count in runs) >= BANGS:
        return Naming(0 if runs[0][0] == "left" else 1, "bangs")
    return Naming(0, None)


def of_outcomes(pairs: Sequence[tuple[bool, bool]]) -> tuple[Who, ...]:
    """From whether (left, right) were seen in each bang."""
    names: dict[tuple[bool, bool], Who] = {
        (True, True): "both",
        (True, False): "left",
        (False, True): "right",
        (False, False): "neither",
    }
    return tuple(names[one] for one in pairs)
