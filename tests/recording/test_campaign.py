"""Whole campaigns over invented recordings: how many are answered, how often the stated 95 % holds, in each quarter of
skew by size. Judges: the invented evenings, whose physics share no formula with the analysis, and Wilson's bound from
scipy. `python -m tests.recording.test_campaign light 0 400` prints the row of the table in docs/maths.md."""

from __future__ import annotations

import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from coincide.errors import BadInput
from tests.recording.worlds import World, light_world, measured, sound_world

WHOLE = 2000
SORTS = ("light", "light, spoilt", "leaf", "leaf, spoilt", "sound", "sound, spoilt")
ANSWERED = {
    "light": 0.95,
    "light, spoilt": 0.8,
    "leaf": 0.95,
    "leaf, spoilt": 0.8,
    "sound": 0.95,
    "sound, spoilt": 0.8,
}
SMALL_S = 0.001
FAR = 2.0  # of the half-width of 95 %: of honest intervals one in ten thousand


@dataclass(frozen=True, slots=True)
class Row:
    """held, small_held: how many lie within the stated 95 %, of those answered and of skews below a millisecond.
    far: how many lie beyond twice the half-width: wrong without a word. half_width_s: the median."""

    tried: int
    answered: int
    held: int
    small: int
    small_held: int
    half_width_s: float
    far: int = 0

    def least(self, held: int, of: int) -> float:
        """Wilson's lower bound (95 %, two-sided) of a share."""
        return float(stats.binomtest(held, of).proportion_ci(0.95, "wilson").low) if of else 0.0


def world_of(sort: str, seed: int) -> World:
    kind, spoilt = sort.split(",", maxsplit=1)[0], sort.endswith("spoilt")
    return (
        sound_world(seed, spoilt=spoilt)
        if kind == "sound"
        else light_world(seed, spoilt=spoilt, leaf=kind == "leaf")
    )


def campaign(sort: str, first: int, count: int) -> Row:
    """`count` worlds of a sort, seeds from `first` on."""
    answered, held, small, small_held, far, widths = 0, 0, 0, 0, 0, []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + count):
            world = world_of(sort, seed)
            try:
                _, account, analysis = measured(world, Path(folder))
            except BadInput:
                continue
            if analysis.suggestion is None:
                continue
            # Without bangs of one body the result is 'left after right'.
            turned = world.scene.swapped and account.named is None
            truth_s = -world.scene.skew_s if turned else world.scene.skew_s
            low, high = analysis.suggestion.interval_s
            holds = low <= truth_s <= high
            answered += 1
            held += holds
            if abs(truth_s) < SMALL_S:
                small += 1
                small_held += holds
            widths.append((high - low) / 2)
            far += abs(truth_s - (low + high) / 2) > FAR * widths[-1]
    half_width_s = float(np.median(widths)) if widths else np.nan
    return Row(count, answered, held, small, small_held, half_width_s, far)


@pytest.mark.soak
@pytest.mark.parametrize("sort", SORTS)
def test_a_whole_campaign(sort: str) -> None:
    row = campaign(sort, 100_000, WHOLE)
    print(sort, row)
    assert row.answered >= ANSWERED[sort] * row.tried
    assert row.least(row.held, row.answered) >= 0.93
    assert row.least(row.small_held, row.small) >= 0.90
    assert row.far <= 0.001 * row.answered


def main() -> None:
    """Prints a row of the table."""
    sort, first, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    row = campaign(sort, first, count)
    print(
        f"| {sort} | {row.tried} | {100 * row.answered / row.tried:.0f} % | {100 * row.held / row.answered:.1f} % "
        f"(from {100 * row.least(row.held, row.answered):.0f}) | {row.small_held} of {row.small} | {row.far} | "
        f"{row.half_width_s * 1e3:.2f} ms |"
    )


if __name__ == "__main__":
    main()
