"""Holders turned round: the mean of both ways is free of where the diodes sit. Judges: scipy's Welch test, trials."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from coincide.bench.heard import Wish
from coincide.bench.recording import record
from coincide.errors import BadInput
from coincide.recording.files import write_sound
from coincide.rehearsal.light import LightScene, light_evening
from coincide.timing.budget.placing import turned_holders
from tests.cli.running import run
from tests.recording.worlds import rig_text


def test_the_half_width_is_welchs() -> None:
    rng = np.random.default_rng(11)
    first, second = rng.normal(0.0062, 0.0004, 9), rng.normal(0.0058, 0.0009, 14)
    found = turned_holders(first, second)
    welch = stats.ttest_ind(first, second, equal_var=False).confidence_interval(0.95)
    # Of the difference; skew and placing are half of a sum and of a difference.
    assert found.half_width_s == pytest.approx(0.25 * (welch.high - welch.low))
    assert found.placing_s == pytest.approx(0.25 * (welch.high + welch.low))


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    rng = np.random.default_rng(12)
    held = []
    for _ in range(2000):
        skew_s, placed_s = rng.normal(0.0, 0.01), rng.normal(0.0, 0.0003)
        first = skew_s + placed_s + rng.normal(0.0, 0.0004, 6)
        second = skew_s - placed_s + rng.normal(0.0, 0.0004, 12)
        found = turned_holders(first, second)
        held.append(
            (
                abs(found.skew_s - skew_s) <= found.half_width_s,
                abs(found.placing_s - placed_s) <= found.half_width_s,
            )
        )
    # Counting alone leaves 0.5 % (one standard deviation) of 2000.
    assert np.mean(held, axis=0) == pytest.approx(0.95, abs=0.02)


def test_pairs_without_a_skew_are_left_out_and_two_are_too_few() -> None:
    gaps = np.array([0.001, np.nan, 0.0012, 0.0011])
    assert turned_holders(gaps, gaps).skew_s == pytest.approx(0.0011)
    with pytest.raises(BadInput, match="three pairs each way"):
        turned_holders(gaps[:3], gaps)


def test_two_recordings_with_the_holders_turned_say_the_skew_without_the_diodes_places(
    tmp_path: Path,
) -> None:
    skew_s, placed_s = 0.0062, (0.0003, -0.0002)
    for name, way in (("first", 1), ("second", -1)):
        scene = LightScene(
            pairs=8,
            every_s=1.1,
            skew_s=skew_s,
            jitter_s=0.0001,
            exposure_s=(1 / 64, 1 / 64),
            placed_s=(way * placed_s[0], way * placed_s[1]),
        )
        evening = light_evening(scene, 21 + way)
        write_sound(tmp_path / f"{name}.wav", evening.samples, evening.rate_hz)
        record([tmp_path / f"{name}.wav"], rig_text("1/60"), Wish("light"), tmp_path / f"{name}.jsonl")
    done = run(["report", "first.jsonl", "--holders-turned", "second.jsonl"], tmp_path)
    assert done.code == 0, done.said
    words = " ".join(done.out.split())
    # Placed later at A and earlier at B, the diodes had made the skew 0.5 ms less.
    said = re.search(r"a skew of (\S+) ms \(give or take (\S+) ms, .* had added (\S+) ms\.", words)
    assert said is not None, words
    skew_ms, half_ms, placing_ms = map(float, said.groups())
    assert half_ms < 0.15
    assert abs(skew_ms - 6.2) <= half_ms
    assert abs(placing_ms + 0.5) <= half_ms
