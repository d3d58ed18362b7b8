"""The lamp row, read back from simulated frames: within the stated uncertainty, and counted as people
count."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from coincide.errors import BadInput
from coincide.timing.optical import LampReading, LampRow, read_frame, read_pair

ROW = LampRow(lamps=20, step_s=1e-3)


def photograph(opened: float, closed: float) -> LampReading:
    """Lamps seen lit by a frame open from `opened` to `closed`, seconds after the row began."""
    first, last = int(opened // ROW.step_s), int(closed // ROW.step_s)
    rounds = (last - first) // ROW.lamps
    return LampReading(first % ROW.lamps + 1, last % ROW.lamps + 1, rounds)


def test_mid_and_exposure_cover_the_truth() -> None:
    rng = np.random.default_rng(1)
    mid, exposure = [], []
    for _ in range(2000):
        opened, length = rng.uniform(0, 0.015), rng.uniform(0.0002, 0.018)
        frame = read_frame(ROW, photograph(opened, opened + length), "A")
        mid.append(abs(frame.mid_s - opened - length / 2) <= frame.mid.expanded_s)
        exposure.append(abs(frame.exposure_s - length) <= frame.exposure.expanded_s)
    assert 0.93 <= np.mean(mid) <= 0.985
    assert 0.93 <= np.mean(exposure) <= 0.985


def test_skew_covers_the_truth_across_the_end_of_the_row() -> None:
    rng = np.random.default_rng(2)
    hits = []
    for _ in range(2000):
        opened = rng.uniform(0, 0.020)
        skew, longs = rng.uniform(-0.008, 0.008), rng.uniform(0.001, 0.012, 2)
        start = opened + 0.02 + longs[0] / 2 + skew - longs[1] / 2
        pair = read_pair(
            ROW, photograph(opened + 0.02, opened + 0.02 + longs[0]), photograph(start, start + longs[1])
        )
        hits.append(abs(pair.skew_s - skew) <= pair.skew.expanded_s)
    assert 0.93 <= np.mean(hits) <= 0.985


def test_rounds_make_long_exposures() -> None:
    frame = read_frame(ROW, LampReading(5, 5, rounds=2), "B")
    assert_allclose(frame.exposure_s, 0.040)


def test_doubtful_lamps_widen() -> None:
    sure = read_frame(ROW, LampReading(3, 9), "A")
    unsure = read_frame(ROW, LampReading(3, 9, doubtful=1.0), "A")
    assert unsure.mid.expanded_s > 1.3 * sure.mid.expanded_s


@pytest.mark.parametrize("reading", [LampReading(0, 4), LampReading(4, 21)])
def test_a_lamp_that_is_not_there(reading: LampReading) -> None:
    with pytest.raises(BadInput, match="lamps 1 to 20"):
        read_frame(ROW, reading, "B")


def test_less_than_none() -> None:
    with pytest.raises(BadInput, match="body B"):
        read_frame(ROW, LampReading(1, 2, rounds=-1), "B")
