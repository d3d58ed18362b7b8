"""Promises of the offset that hold for any bodies: signs, units, what is set aside, awkward series."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import stats

from coincide.errors import BadInput
from coincide.timing.budget.uncertainty import Component, budget
from coincide.timing.offset.series import Floats
from coincide.timing.offset.suggest import OffsetSuggestion, suggest_offset
from coincide.timing.offset.verify import verify

MS = 1e-3


def series(seed: int, n: int = 40, centre: float = 18.0, sigma: float = 1.0) -> Floats:
    return np.asarray(np.random.default_rng(seed).normal(centre, sigma, n)) * MS


def suggest(skew_s: Floats, tolerance_s: float = 2 * MS) -> OffsetSuggestion:
    return suggest_offset(skew_s, tolerance_s=tolerance_s)


def test_a_late_b_delays_a() -> None:
    late = suggest(series(1))
    assert late.body_to_delay == "A"
    assert late.offset_s > 0
    assert late.delay_s == late.offset_s
    assert late.interval_s[0] < 18 * MS < late.interval_s[1]
    early = suggest(-series(1))
    assert early.body_to_delay == "B"
    assert early.delay_s == -early.offset_s


def test_swapping_the_bodies_turns_the_sign() -> None:
    one, other = suggest(series(2)), suggest(-series(2))
    assert_allclose(other.offset_s, -one.offset_s, atol=0.05 * MS)
    assert_allclose(other.expected_keepers, one.expected_keepers, atol=0.02)


def test_seconds_are_just_a_unit() -> None:
    small = suggest_offset(series(3), tolerance_s=2 * MS, resolution_s=8e-9)
    large = suggest_offset(series(3) * 1000, tolerance_s=2.0, resolution_s=8e-6)
    assert_allclose(large.interval_s, np.array(small.interval_s) * 1000, rtol=1e-9)
    assert_allclose(large.expected_keepers, small.expected_keepers, rtol=1e-9)


def test_the_offset_that_was_on_is_added_back() -> None:
    bare = suggest(series(4))
    on = np.where(np.arange(40) < 20, 10.0, 12.0) * MS
    again = suggest_offset(series(4) - on, tolerance_s=2 * MS, offset_s=on)
    assert_allclose(again.offset_s, bare.offset_s, atol=1e-12)


def test_whole_steps_of_the_box() -> None:
    found = suggest_offset(series(5), tolerance_s=2 * MS, resolution_s=1e-4)
    assert_allclose(found.offset_s / 1e-4, round(found.offset_s / 1e-4), atol=1e-9)
    assert abs(found.offset_s - found.best_s) <= 0.5e-4


def test_plain_gaussian_agrees_with_student() -> None:
    """Where nothing drifts or polls the answer is the textbook's, but for what could not be excluded."""
    width = []
    for seed in range(40):
        skew = series(100 + seed)
        found = suggest(skew)
        low, high = stats.t.interval(0.95, skew.size - 1, skew.mean(), stats.sem(skew))
        width.append((found.interval_s[1] - found.interval_s[0]) / (high - low))
    assert 0.95 < np.median(width) < 1.15


def test_missed_pairs_are_named_not_measured() -> None:
    skew = series(6)
    skew[[3, 11]] = np.nan
    found = suggest(skew)
    assert found.missed == (3, 11)
    assert not {3, 11} & set(found.used)


def test_an_outlier_is_flagged_and_costs_keepers() -> None:
    skew = series(7, sigma=0.3)
    clean = suggest(skew)
    skew[17] += 25 * MS
    found = suggest(skew)
    assert found.outliers == (17,)
    assert_allclose(found.offset_s, clean.offset_s, atol=0.05 * MS)
    assert_allclose(found.expected_keepers, clean.expected_keepers * 39 / 40, atol=0.005)


def test_a_first_shot_that_differs_is_left_out_and_said() -> None:
    skew = series(8, sigma=0.5)
    skew[0] += 12 * MS
    found = suggest(skew)
    assert found.first == (0,)
    assert 0 not in found.used
    skew[0] = np.median(skew)
    assert suggest(skew).first == ()


def test_the_shot_after_a_long_rest_is_a_first_shot_too() -> None:
    skew = series(9, sigma=0.5)
    skew[[0, 20]] += 12 * MS
    rest = np.full(40, 3.0)
    rest[0], rest[20] = np.nan, 90.0
    found = suggest_offset(skew, tolerance_s=2 * MS, rest_s=rest)
    assert found.first == (0, 20)


def test_warm_up_is_followed_to_its_end() -> None:
    k = np.arange(40)
    warm = 8.0 * np.exp(-k / 6.0)
    covered = 0
    for seed in range(20):
        found = suggest(series(200 + seed, centre=18.0, sigma=0.5) + warm * MS)
        covered += found.interval_s[0] <= (18.0 + warm[-1]) * MS <= found.interval_s[1]
        assert found.drift_chance > 0.95
        assert_allclose(found.drift_s, (warm[-1] - warm[0]) * MS, atol=2.0 * MS)
    assert covered >= 17


def test_polling_sharpens_what_the_median_blurs() -> None:
    """Edges of a rectangle tell more than its middle: the interval must beat the median's."""
    rng = np.random.default_rng(10)
    ratio = []
    for _ in range(20):
        skew = (18.0 + rng.uniform(-5, 5, 50) + rng.normal(0, 0.3, 50)) * MS
        found = suggest(skew, 6 * MS)
        ratio.append(np.ptp(found.interval_s) / np.ptp(found.median_interval_s))
    assert np.mean(ratio) < 0.6


def test_two_humps_choose_the_fuller_one() -> None:
    rng = np.random.default_rng(11)
    for _ in range(10):
        upper = rng.uniform(size=60) < 0.3
        skew = (np.where(upper, 20.0, 8.0) + rng.normal(0, 0.6, 60)) * MS
        found = suggest(skew)
        assert found.method == "kernel"
        assert abs(found.offset_s - 8 * MS) < 1 * MS
        assert abs(found.expected_keepers - 0.7) < 0.2


def test_a_long_tail_moves_the_window_off_the_median() -> None:
    """Exponential tail, tolerance well under its scale: the best window sits at the steep edge."""
    rng = np.random.default_rng(12)
    off, kept = [], []
    for _ in range(20):
        skew = (rng.exponential(4.0, 60) + rng.normal(0, 0.3, 60)) * MS
        found = suggest(skew)
        off.append(found.offset_s - np.median(skew))
        fresh = rng.exponential(4.0, 4000) + rng.normal(0, 0.3, 4000)
        kept.append(found.expected_keepers - np.mean(np.abs(fresh * MS - found.offset_s) <= 2 * MS))
    assert np.mean(off) < -0.5 * MS
    assert abs(np.mean(kept)) < 0.04


def test_identical_shots_are_as_sure_as_the_box_allows() -> None:
    found = suggest(np.full(20, 5 * MS))
    assert_allclose(found.offset_s, 5 * MS, atol=1e-8)
    assert 0 < found.interval_s[1] - found.interval_s[0] < 1e-7
    assert found.expected_keepers > 0.999


def test_systematic_uncertainty_moves_no_offset_but_costs_keepers() -> None:
    bare = suggest(series(13))
    wide = suggest_offset(series(13), tolerance_s=2 * MS, type_b_s=1 * MS)
    half = 0.5 * np.ptp(bare.interval_s)
    assert_allclose(0.5 * np.ptp(wide.interval_s), np.hypot(half, 1.96 * MS), rtol=0.05)
    assert wide.offset_s == bare.offset_s
    assert wide.keepers_seen == bare.expected_keepers
    # Judge: the share of N(0, jitter) about an error N(0, type B) is that of one wider normal.
    share = 2.0 * stats.norm.cdf(2 * MS / np.hypot(bare.jitter_s, 1 * MS)) - 1.0
    assert_allclose(wide.expected_keepers, share, atol=0.03)
    assert wide.keepers_range[0] < wide.expected_keepers < wide.keepers_range[1]
    assert wide.shots_to_halve is None


@pytest.mark.parametrize("humps", [False, True])
def test_an_error_that_all_pairs_share_is_in_every_promise(humps: bool) -> None:
    """Keepers on average as promised, the next frame within its range as often as said, though no shot shows it."""
    rng = np.random.default_rng(31)
    tolerance, shared = 2 * MS, 1.2 * MS
    promised, true, held = [], [], []
    for _ in range(60):
        error = shared * rng.standard_normal()
        later = rng.uniform(size=(2, 400)) < 0.25 if humps else np.zeros((2, 400), dtype=np.bool_)
        real = (5.0 + 6.0 * later) * MS + 0.7 * MS * rng.standard_normal((2, 400))
        found = suggest_offset(real[0, :40] + error, tolerance_s=tolerance, type_b_s=shared)
        left = real[1] - found.offset_s
        promised.append(found.expected_keepers)
        true.append(np.mean(np.abs(left) <= tolerance))
        held.append(np.mean((left >= found.next_frame_s[0]) & (left <= found.next_frame_s[1])))
    assert abs(np.mean(promised) - np.mean(true)) < 3.0 * np.std(true) / np.sqrt(60) + 0.01
    assert np.mean(held) > 0.92


@pytest.mark.parametrize("n", [10, 30])
def test_one_half_width_everywhere(n: int) -> None:
    """The interval and the budget's expansion of the same parts: Student's tails are counted once."""
    found = suggest_offset(series(33, n=n), tolerance_s=2 * MS, type_b_s=0.3 * MS)
    parts = (
        Component("shots", found.type_a_s, found.shots_used - 1.0, "student", "A"),
        Component("alike", found.type_b_s),
    )
    assert_allclose(budget(parts).expanded_s, 0.5 * np.ptp(found.interval_s), rtol=0.06)


def test_the_next_frame_counts_those_far_from_all_others() -> None:
    rng = np.random.default_rng(35)
    hits = []
    for _ in range(60):
        skew = (rng.standard_normal(60) + np.where(rng.uniform(size=60) < 0.03, 40.0, 0.0)) * MS
        low, high = suggest(skew).next_frame_s
        hits.append(0.97 * (stats.norm.cdf(high / MS) - stats.norm.cdf(low / MS)))
    assert np.mean(hits) > 0.94


def test_further_shots_halve_the_interval() -> None:
    ratios = []
    for seed in range(30):
        rng = np.random.default_rng(300 + seed)
        found = suggest(np.asarray(rng.normal(0, 1, 20)) * MS)
        assert found.shots_to_halve is not None
        more = suggest(np.asarray(rng.normal(0, 1, 20 + found.shots_to_halve)) * MS)
        ratios.append(np.ptp(more.interval_s) / np.ptp(found.interval_s))
    assert 0.4 < np.mean(ratios) < 0.58


def test_next_frame_falls_in_its_interval_as_often_as_said() -> None:
    rng = np.random.default_rng(14)
    hits = []
    for _ in range(80):
        found = suggest(np.asarray(rng.normal(5, 1, 25)) * MS)
        low, high = found.next_frame_s
        hits.append(np.mean(stats.norm(5 * MS - found.offset_s, MS).cdf([low, high]) @ [-1, 1]))
    assert 0.93 < np.mean(hits) < 0.975


def test_the_keeper_curve_peaks_at_the_suggestion() -> None:
    found = suggest(series(15))
    curve = np.array(found.curve_keepers)
    at = np.argmin(np.abs(np.array(found.curve_offset_s) - found.offset_s))
    assert curve[at] >= curve.max() - 0.005


@pytest.mark.parametrize("n", [0, 1, 3])
def test_too_few_pairs_say_how_many(n: int) -> None:
    with pytest.raises(BadInput, match=f"Only {n} pair has" if n == 1 else f"Only {n} pairs have"):
        suggest(np.zeros(n))


def test_no_tolerance_no_offset() -> None:
    with pytest.raises(BadInput, match="tolerance"):
        suggest_offset(series(1), tolerance_s=0.0)


def test_all_missed() -> None:
    with pytest.raises(BadInput, match="Only 0 pairs"):
        suggest(np.full(30, np.nan))


def test_a_hundred_thousand_pairs() -> None:
    found = suggest(series(16, n=100_000))
    assert found.interval_s[0] < 18 * MS < found.interval_s[1]


def test_a_right_offset_verifies_and_a_wrong_one_does_not() -> None:
    right, wrong = [], []
    for seed in range(400, 420):
        found = suggest(series(seed))
        fresh = series(1000 + seed) - found.offset_s
        came = verify(found, fresh)
        assert came.share_interval[0] <= came.share <= came.share_interval[1]
        right.append(came.agrees)
        off = verify(found, fresh + 3 * MS)
        wrong.append(off.centre_agrees or off.keepers_agree)
    assert sum(right) >= 16
    assert sum(wrong) == 0


def test_thirty_of_thirty_prove_88_6_per_cent() -> None:
    found = suggest(series(19, sigma=0.1))
    came = verify(found, series(20, n=31, sigma=0.1) - found.offset_s)
    assert (came.keepers, came.pairs) == (30, 30)
    assert_allclose(came.share_interval[0], 0.886, atol=5e-4)


def test_verification_needs_pairs() -> None:
    with pytest.raises(BadInput, match="fresh series"):
        verify(suggest(series(1)), np.full(10, np.nan))


def test_the_envelope_holds_nine_frames_of_ten_with_99_per_cent() -> None:
    rng = np.random.default_rng(21)
    held = []
    for _ in range(60):
        found = suggest(np.asarray(rng.normal(5, 1, 30)) * MS)
        low, high = (5 * MS - found.offset_s - found.envelope_s, 5 * MS - found.offset_s + found.envelope_s)
        held.append(stats.norm.cdf(high / MS) - stats.norm.cdf(low / MS) >= 0.90)
    assert np.mean(held) >= 0.96
