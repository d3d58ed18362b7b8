"""Comparing two series: intervals cover the truth, p-values keep their promise."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from coincide.errors import BadInput
from coincide.timing.bodies.compare import compare_series

MS = 1e-3


def test_shift_and_scale_intervals_cover_the_truth() -> None:
    rng = np.random.default_rng(1)
    shift, scale, alarms = [], [], []
    for _ in range(60):
        one = rng.normal(60, 1.0, 30) * MS
        two = rng.normal(62, 1.5, 40) * MS
        found = compare_series(one, two)
        shift.append(found.shift_interval_s[0] <= 2 * MS <= found.shift_interval_s[1])
        scale.append(found.scale_interval[0] <= 1.5 <= found.scale_interval[1])
        same = compare_series(one, rng.normal(60, 1.0, 40) * MS)
        alarms.append((same.shift_p < 0.05, same.scale_p < 0.05, same.shifted, same.spread_changed))
    assert np.mean(shift) >= 0.90
    assert np.mean(scale) >= 0.90
    assert np.all(np.mean(alarms, axis=0) <= 0.12)


def test_effect_size_is_in_jitters() -> None:
    rng = np.random.default_rng(2)
    found = compare_series(rng.normal(60, 1, 400) * MS, rng.normal(63, 1, 400) * MS)
    assert_allclose(found.shift_in_jitters, 3.0, atol=0.25)
    assert found.shifted
    assert not found.spread_changed
    assert found.shift_p < 0.001


def test_an_outlier_does_not_make_a_shift() -> None:
    rng = np.random.default_rng(3)
    one, two = rng.normal(60, 0.5, 30) * MS, rng.normal(60, 0.5, 30) * MS
    bare = compare_series(one, two)
    two[4] += 50 * MS
    assert_allclose(compare_series(one, two).shift_s, bare.shift_s, atol=0.1 * MS)


def test_two_identical_series() -> None:
    found = compare_series(np.full(10, 5 * MS), np.full(10, 5 * MS))
    assert found.shift_s == 0.0
    assert not found.shifted
    assert found.scale_p == 1.0


def test_too_few() -> None:
    with pytest.raises(BadInput, match="at least 5"):
        compare_series(np.zeros(3), np.zeros(30))
