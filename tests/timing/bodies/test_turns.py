"""Turns of a plunger's screw: a known rate comes out, and the advice lands on zero."""

from __future__ import annotations

import numpy as np
import pytest

from coincide.errors import BadInput
from coincide.timing.bodies.compare import compare_series
from coincide.timing.bodies.turns import turning


def watched(centre_s: float, seed: int, pairs: int = 25) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    return np.random.default_rng(seed).normal(centre_s, 1.2e-3, pairs)


@pytest.mark.parametrize(("turned", "per_turn_s"), [(1.0, -9e-3), (0.5, -9e-3), (2.0, 4e-3)])
def test_following_the_advice_centres_the_skew(turned: float, per_turn_s: float) -> None:
    """Over many watches the true rate lies in its interval about as often as 95 % says."""
    centre_s, held, left_s = 23e-3, 0, []
    for seed in range(20):
        now_s = centre_s + turned * per_turn_s
        before, now = watched(centre_s, seed), watched(now_s, 1000 + seed)
        found = turning(compare_series(before, now), turned, float(np.median(now)))
        low_s, high_s = found.per_turn_interval_s
        held += low_s <= per_turn_s <= high_s
        assert found.fewest_turns <= found.more_turns <= found.most_turns
        left_s.append(abs(now_s + found.more_turns * per_turn_s))
    assert held >= 16  # 15 of 20 or fewer: two times in a thousand at 95 %
    # The rate is known to 0.35 ms over the turns made, and is carried over the turns still to go.
    to_go = abs(now_s / per_turn_s) / turned
    assert np.median(left_s) < 2 * (0.35e-3 * to_go + 0.3e-3)


def test_a_turn_that_shows_nothing_is_refused() -> None:
    moved = compare_series(watched(5e-3, 1), watched(5e-3, 2))
    with pytest.raises(BadInput, match="turn further"):
        turning(moved, 0.25, 5e-3)


def test_no_turn_is_refused() -> None:
    moved = compare_series(watched(5e-3, 1), watched(9e-3, 2))
    with pytest.raises(BadInput, match="more than zero"):
        turning(moved, 0.0, 9e-3)
