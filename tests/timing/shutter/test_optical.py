"""One frame of the lamp row: counted as people count, and within its steps."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from coincide.errors import BadInput
from coincide.timing.shutter.optical import LampRow, frame_edges_s

ROW = LampRow(lamps=20, step_s=1e-3)


def photograph(opened: float, closed: float) -> tuple[int, int]:
    """Lamps seen lit by a frame open from `opened` to `closed`, seconds after the row began."""
    first, last = int(opened // ROW.step_s), int(closed // ROW.step_s)
    return first % ROW.lamps + 1, last % ROW.lamps + 1


def test_middle_and_exposure_scatter_as_uniform_edges_do() -> None:
    """Step / sqrt 24 and step / sqrt 6, without bias, whatever the row's phase."""
    rng = np.random.default_rng(1)
    middle, exposure = [], []
    for _ in range(40_000):
        opened, length = rng.uniform(0, 0.020), rng.uniform(0.0012, 0.018)
        found = frame_edges_s(ROW, *photograph(opened, opened + length), "A")
        # The row comes round: middles are known within a round.
        off = 0.5 * sum(found) - opened - length / 2
        middle.append((off + 0.010) % 0.020 - 0.010)
        exposure.append(found[1] - found[0] - length)
    for errors, u in ((middle, 1e-3 / 24**0.5), (exposure, 1e-3 / 6**0.5)):
        assert abs(np.mean(errors)) < 5 * u / 200
        assert_allclose(np.std(errors), u, rtol=0.02)


def test_a_row_that_came_round() -> None:
    assert_allclose(frame_edges_s(ROW, 18, 3, "B"), (0.0175, 0.0225))
    assert_allclose(frame_edges_s(ROW, 7, 7, "B"), (0.0065, 0.0065))


@pytest.mark.parametrize("lamps", [(0, 4), (4, 21)])
def test_a_lamp_that_is_not_there(lamps: tuple[int, int]) -> None:
    with pytest.raises(BadInput, match="lamps 1 to 20"):
        frame_edges_s(ROW, *lamps, "B")
