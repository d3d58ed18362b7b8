"""Inject a truth, run the whole chain through the box's own bytes, find it again as often as claimed."""

from __future__ import annotations

import numpy as np
import pytest

from tests.chain.worlds import Recovered, recover

SUBSET, WHOLE = 48, 2000


@pytest.fixture(scope="module")
def subset() -> list[Recovered]:
    return [recover(seed) for seed in range(SUBSET)]


def at_least(share: float, n: int) -> float:
    """The promised share less three standard errors of counting n worlds: no seed is tuned to pass."""
    return share - 3.0 * float(np.sqrt(share * (1.0 - share) / n))


def judge(worlds: list[Recovered], slack: bool) -> None:
    n = len(worlds)
    meets = np.mean([world.meets for world in worlds])
    centre = np.mean([world.verification.centre_agrees for world in worlds])
    keepers = np.mean([world.verification.keepers_agree for world in worlds])
    difference = np.array([w.verification.share - w.verification.predicted_share for w in worlds])
    print(
        f"\n{n} worlds: interval meets the best set {meets:.3f}, centre within its uncertainty {centre:.3f}, "
        f"keepers within their range {keepers:.3f}, obtained - predicted {100 * difference.mean():+.2f} points"
    )
    assert meets >= (at_least(0.93, n) if slack else 0.93)
    assert centre >= at_least(0.95, n)
    assert keepers >= at_least(0.95, n)
    counting = np.array([counting_variance(world) for world in worlds])
    assert abs(difference.mean()) <= 0.02 + (2.0 * np.sqrt(counting.mean() / n) if slack else 0.0)
    # Scatter of obtained against predicted, in units of what counting both series explains.
    ratio = float(np.sum(difference**2) / np.sum(counting))
    print(f"scatter of keepers over what counting explains: {ratio:.2f}")
    assert ratio <= 1.0 + 3.0 * float(np.sqrt(2.0 / n))


def counting_variance(world: Recovered) -> float:
    """Binomial variance of the difference between a share predicted from one series and counted in another."""
    share = world.verification.predicted_share
    variance = share * (1.0 - share)
    return variance / world.suggestion.shots_used + variance / world.verification.pairs


def test_a_subset_of_worlds(subset: list[Recovered]) -> None:
    judge(subset, slack=True)


def test_each_pair_is_measured_within_its_uncertainty(subset: list[Recovered]) -> None:
    """What parts a measured skew from the truth is the inputs' delays, within the type B that is stated."""
    for world in subset:
        error = world.measured.skew_s - world.true_skew_s
        assert np.all(np.abs(error) <= 2.0 * world.measured.mids.type_b_s)


@pytest.mark.soak
def test_two_thousand_worlds() -> None:
    judge([recover(seed) for seed in range(WHOLE)], slack=False)
