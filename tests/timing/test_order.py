"""Values that depend on their order. Judges: every permutation of eight values, and recipes of time_worlds.py."""

from __future__ import annotations

from itertools import permutations

import numpy as np
from numpy.testing import assert_allclose

from coincide.timing.bodies.compare import compare_series
from coincide.timing.order import ALARM, likeness, order_p, worth

MS = 1e-3


def shared(n: int, like: float, rng: np.random.Generator) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Scatter of deviation 1 whose neighbours correlate by `like`."""
    values = rng.standard_normal(n)
    for k in range(1, n):
        values[k] = like * values[k - 1] + np.sqrt(1.0 - like**2) * values[k]
    return values


def test_the_chance_is_that_of_all_orders() -> None:
    """Of the 40 320 orders of eight ranks, the share with neighbours as alike; the beta is near it in its tail."""
    orders = np.array(list(permutations(range(8))), dtype=np.float64)
    differences = np.sum(np.diff(orders, axis=1) ** 2, axis=1)
    for share in (0.002, 0.01, 0.02, 0.05, 0.2):
        limit = np.quantile(differences, share)
        one = orders[np.flatnonzero(differences <= limit)[np.argmax(differences[differences <= limit])]]
        assert_allclose(order_p(one), np.mean(differences <= limit), rtol=0.25, atol=0.001)


def test_independent_values_alarm_as_often_as_said() -> None:
    rng = np.random.default_rng(1)
    for draw in (rng.standard_normal, lambda n: rng.standard_t(3, n), lambda n: rng.uniform(size=n)):
        alarms = sum(order_p(np.asarray(draw(20))) < ALARM for _ in range(1500))
        assert abs(alarms / 1500 - ALARM) <= 3.0 * np.sqrt(ALARM / 1500)


def test_likeness_and_worth_of_what_was_put_in() -> None:
    rng = np.random.default_rng(2)
    assert_allclose(np.mean([likeness(shared(60, 0.6, rng)) for _ in range(150)]), 0.6, atol=0.03)
    # The mean of an autoregression varies as that of (1 - r) / (1 + r) times as many independent values.
    means = [float(shared(100, 0.6, rng).mean()) for _ in range(1500)]
    assert_allclose(0.01 / np.var(means), 0.25, rtol=0.12)
    assert_allclose(np.mean([worth(shared(100, 0.6, rng)) for _ in range(100)]), 0.25, atol=0.04)


def test_two_series_of_shared_scatter_are_not_told_apart_by_it() -> None:
    rng = np.random.default_rng(3)
    rows = []
    for _ in range(40):
        found = compare_series(shared(40, 0.7, rng) * MS, shared(40, 0.7, rng) * MS)
        rows.append((found.shifted, found.spread_changed, found.in_order))
    shifted, changed, noticed = np.mean(rows, axis=0)
    assert shifted <= 0.15  # taken as independent: 0.4
    assert changed <= 0.15
    assert noticed >= 0.95
