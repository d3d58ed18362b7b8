"""A body that is not awake when full-press comes is found in the first pairs, with the lead that it needs."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from coincide.session.file import read_session
from coincide.timing.bodies.waking import asleep
from tests.cli.running import run

WAKES_MS = 450 + 15  # of the world 'slow to wake': its wake_s and unready_s


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    assert run(["rig", "new"], tmp_path).code == 0
    rig = tmp_path / "rig.toml"
    rig.write_text(rig.read_text("utf-8").replace('"manual"', '"motor"'), "utf-8")
    return tmp_path


def test_a_late_waking_body_is_found_before_the_series_is_spent(folder: Path) -> None:
    ran = run(["calibrate", "--world", "slow-to-wake"], folder)
    assert ran.code == 1
    found = re.search(r"Bittern \(B\) needs about (\d+) ms of half-press and gets 300 ms", ran.said)
    assert found is not None, ran.said
    assert abs(int(found[1]) - WAKES_MS) < 5
    assert "Lapwing (A) needs" not in ran.said
    (series,) = (folder / "simulated" / "sessions").glob("*-series.jsonl")
    assert read_session(series).shot.size == 8
    assert not list((folder / "simulated").glob("*calibration*"))
    # With the lead that was advised it works at once.
    advised = re.search(r'lead = "(\d+) ms"', ran.said)
    assert advised is not None
    rig = folder / "rig.toml"
    rig.write_text(rig.read_text("utf-8").replace('lead = "300 ms"', f'lead = "{advised[1]} ms"'), "utf-8")
    again = run(["calibrate", "-n", "20", "--verify", "12", "--world", "slow-to-wake"], folder)
    assert again.code == 0, again.said


def test_scatter_is_not_sleep_and_too_short_a_trial_says_more_than() -> None:
    """Lags that scatter are not a body asleep; a body that needs more than the longer lead is said to need more."""
    rng = np.random.default_rng(5)
    false = 0
    for _ in range(500):
        two_humps = 0.060 + 0.030 * rng.integers(0, 2, 9) + rng.normal(0, 0.5e-3, 9)
        false += asleep(0, two_humps[:8], float(two_humps[8]), 0.5) is not None
    assert false <= 8  # 1 in 512 by counting, and the scatter of counts
    late = asleep(1, np.full(8, 0.560), 0.060, 0.5)
    assert late is not None
    assert late.at_least
    assert asleep(1, np.full(8, np.nan), 0.060, 0.5) is None
    assert asleep(1, np.full(8, 0.560), float("nan"), 0.5) is None
