"""Very many pairs: the picture keeps the extremes of every stretch, and every dot of a short series."""

from __future__ import annotations

import numpy as np

from coincide.report.plots.series import MOST_DOTS, drawn


def test_short_series_keep_every_dot() -> None:
    values = np.array([1.0, np.nan, 3.0])
    assert drawn(values).tolist() == [True, False, True]


def test_long_series_keep_what_is_unusual() -> None:
    values = np.random.default_rng(1).standard_normal(100_000)
    values[[17, 54_321]] = 9.0, -9.0
    values[::7] = np.nan
    values[54_321] = -9.0
    kept = drawn(values)
    assert kept.sum() <= MOST_DOTS
    assert kept[17]
    assert kept[54_321]
    assert not kept[np.isnan(values)].any()
