"""Budgets against the GUM and its supplement; each test names clause or example."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from coincide.timing.budget.uncertainty import Component, budget, mean_component, rectangular_u, rounded


def test_end_gauge() -> None:
    """JCGM 100:2008 H.1: u_c = 32 nm (31.7 before rounding), 16.8 effective degrees of freedom, from
    components of 25 (18), 9.7 (25.6), 2.9 (50) and 16.6 (2) nm."""
    found = budget(
        (
            Component("standard", 25.0, 18.0),
            Component("measured difference", 9.7, 25.6, "student", "A"),
            Component("expansion", 2.9, 50.0),
            Component("temperature", 16.6, 2.0),
        )
    )
    assert_allclose(found.combined_s, 31.7, atol=0.05)
    assert int(found.dof) == 16
    # From the rounded components of the table; the example's own 16.8 carries more digits.
    assert_allclose(found.dof, 16.8, atol=0.2)
    assert found.largest is not None
    assert found.largest.name == "standard"


def test_rectangle() -> None:
    """JCGM 100:2008 4.3.7, note 2 (memory): half-width 0.40e-6 gives 0.23e-6."""
    assert_allclose(rectangular_u(0.40e-6), 0.23e-6, atol=0.005e-6)


def test_triangle_of_two_rectangles() -> None:
    """JCGM 100:2008 5.1.2: variances add; two equal rectangles make a triangle of u = a sqrt(2/3)."""
    a = rectangular_u(1.0)
    assert_allclose(budget((Component("one", a), Component("two", a))).combined_s, np.sqrt(2.0 / 3.0))


def test_four_rectangles_of_the_supplement() -> None:
    """JCGM 101:2008 9.2.3 (memory): the sum of four rectangles of u = 1 lies within +-3.88 at 95 %, where
    the GUM's normal gives +-3.92. None of them dominates and none has few degrees of freedom, so k = 2
    stands: 4.0."""
    found = budget(tuple(Component(f"x{i}", 1.0, distribution="rectangular") for i in range(4)))
    assert_allclose(found.combined_s, 2.0)
    assert found.method == "k=2"


def test_one_dominant_rectangle_of_the_supplement() -> None:
    """JCGM 101:2008 9.2.4 (memory): as before, but one of u = 10: +-17.0 by distributions, +-19.9 by the
    GUM."""
    parts = [Component(f"x{i}", 1.0, distribution="rectangular") for i in range(3)]
    found = budget((*parts, Component("x4", 10.0, distribution="rectangular")))
    assert found.method == "distributions"
    assert_allclose(found.expanded_s, 17.0, atol=0.1)
    assert_allclose(1.96 * found.combined_s, 19.9, atol=0.05)


@pytest.mark.parametrize("shots", [4, 8])
def test_few_shots_give_students_t(shots: int) -> None:
    """JCGM 100:2008 4.2 and G.3: a mean of n shots alone is t with n - 1 degrees of freedom."""
    values = np.random.default_rng(shots).normal(0.0, 1.0, shots)
    found = budget((mean_component("mean", values),))
    assert found.method == "distributions"
    assert_allclose(found.coverage_factor, stats.t.ppf(0.975, shots - 1), rtol=0.02)


def test_digits() -> None:
    """JCGM 100:2008 7.2.6: two digits of the uncertainty, the value rounded alike (its example: 10.057 62
    ohm with 27 milliohm is 10.058 ohm)."""
    assert rounded(10.05762, 0.027) == (10.058, 0.027)
    assert rounded(18.3456, 0.0996) == (18.35, 0.1)
    assert rounded(1234.0, 56.0) == (1234.0, 56.0)
    assert rounded(1.0, 0.0) == (1.0, 0.0)


def test_nothing_uncertain() -> None:
    assert budget(()).expanded_s == 0.0
