"""What is said when the pairs cannot tell, and how often it is said of series with nothing in them.

Judges: simulation of still series of three scatters that are not the model's own; SciPy's skewness test for scatter
whose lopsidedness no test can miss.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from coincide.timing.bodies.in_time import notice_in_time, notice_shape
from coincide.timing.offset.doubt import BY_CHANCE, PAIRS, doubt
from coincide.timing.offset.frames import growth
from coincide.timing.offset.lopsided import ALARM, lean, tail
from coincide.timing.offset.series import sort_out
from coincide.timing.offset.suggest import suggest_offset
from tests.timing.offset.time_worlds import make_world

MS = 1e-3


@pytest.mark.parametrize("pairs", [16, 20, 60, 200])
def test_still_series_are_doubted_as_often_as_said(pairs: int) -> None:
    """Whatever their scatter: the question is one of order. 3.5 standard errors."""
    rng = np.random.default_rng(pairs)
    worlds = 400
    draws = (rng.standard_normal, lambda n: rng.standard_t(3, n), lambda n: rng.exponential(size=n))
    said = [doubt(np.asarray(draw(pairs)), 0.0) is not None for draw in draws for _ in range(worlds)]
    stated = float(np.interp(pairs, PAIRS, BY_CHANCE))
    assert abs(np.mean(said) - stated) <= 0.02 + 3.5 * np.sqrt(stated * (1.0 - stated) / len(said))


def test_a_small_wander_is_doubted_in_words() -> None:
    """A movement of the scatter's size in twenty pairs: no test can show it, and the report says so with a figure."""
    told = 0
    for seed in range(4_000, 4_024):
        world = make_world("walk", 20, seed)
        found = suggest_offset(world.skew * MS, tolerance_s=2 * MS)
        if found.doubt is None:
            continue
        told += 1
        (said,) = notice_in_time(found, np.arange(1, 21))
        assert "20 pairs cannot tell" in said.say
        assert "one in 6" in said.advice
        assert said.figures["half_s"] >= 0.5 * (found.interval_s[1] - found.interval_s[0])
    assert told >= 3  # of 24


def test_few_shots_lose_none_as_far_off() -> None:
    """Of eight normal shots seven robust deviations are no rarity: one series in four would lose one."""
    rng = np.random.default_rng(70)
    for pairs in (8, 10, 12, 16):
        lost = [sort_out(rng.standard_normal(pairs), step_s=8e-9).outliers.size for _ in range(200)]
        assert sum(lost) <= 8, pairs  # 1 % said: Poisson's 99.98 %
        wild = rng.standard_normal(pairs)
        wild[pairs // 2] = 40.0
        assert sort_out(wild, step_s=8e-9).outliers.tolist() == [pairs // 2]


def test_even_scatter_is_not_called_lopsided() -> None:
    rng = np.random.default_rng(71)
    for draw in (rng.standard_normal, lambda n: rng.standard_t(4, n)):
        told = np.mean([tail(np.asarray(draw(40))) != 0 for _ in range(600)])
        assert told <= ALARM + 3.0 * np.sqrt(ALARM / 600) + 0.02


def test_lopsided_scatter_is_named_with_its_side() -> None:
    rng = np.random.default_rng(72)
    for side in (1.0, -1.0):
        skew = side * np.exp(0.8 * rng.standard_normal(120)) * MS
        assert float(stats.skewtest(skew).pvalue) < 1e-3
        assert np.sign(lean(skew)) == side
        found = suggest_offset(skew, tolerance_s=1 * MS)
        (said,) = notice_shape(found)
        assert f"towards {'later' if side > 0 else 'earlier'} B" in said.say
        # More pairs lie within +-1 ms of it than of the median: what an offset is for.
        kept = [np.mean(np.abs(skew - at) <= 1 * MS) for at in (found.offset_s, np.median(skew))]
        assert kept[0] >= kept[1]


def test_the_next_frame_counts_far_ones_in_and_grown_scatter() -> None:
    """95 % said, over worlds: with a few far frames, and where the scatter has grown by the end."""
    for kind in ("some far", "grows"):
        held = []
        for seed in range(4_000, 4_016):
            world = make_world(kind, 100, seed)
            found = suggest_offset(world.skew * MS, tolerance_s=2 * MS)
            off = found.offset_s / MS - world.centre
            held.append(world.share(*(end / MS + off for end in found.next_frame_s)))
        print(kind, np.mean(held))
        assert np.mean(held) >= 0.90


def test_growth_has_its_end_for_a_scale() -> None:
    rng = np.random.default_rng(73)
    grown = growth(np.linspace(0.5, 2.0, 400) * rng.standard_normal(400))
    assert grown is not None
    assert grown.at_end == pytest.approx(2.0 / 1.25, rel=0.15)
    assert grown.last_s > grown.first_s
