"""Behaviours put in come out as a sentence naming the body; bodies without them stay unaccused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from coincide.session.model import Shots
from coincide.timing.bodies.behaviour import notice, notice_times
from coincide.timing.bodies.scatter import find_humps, find_polling, find_steps
from coincide.timing.bodies.trends import find_drift, find_first_shot, find_pace
from coincide.timing.finding import Finding

Floats = npt.NDArray[np.float64]
MS = 1e-3
NAMES = ("Lapwing", "Bittern")


def rests(rng: np.random.Generator, n: int, *, steady: bool = True) -> tuple[Floats, Floats]:
    gap = np.full(n, 3.0) if steady else rng.uniform(2.0, 12.0, n)
    start = np.cumsum(gap) - gap[0]
    gap[0] = np.nan
    return start, gap


def findings(lag_s: Floats, *, steady: bool = True) -> dict[str, Finding]:
    start, rest = rests(np.random.default_rng(0), lag_s.size, steady=steady)
    found = notice_times(lag_s, start, rest, np.arange(1, lag_s.size + 1), "Bittern (B)", "B")
    return {one.code: one for one in found}


def test_a_quiet_body_is_left_alone() -> None:
    """Seven tests at 1 % each: seven in a hundred series at most say something, give or take chance."""
    rng = np.random.default_rng(1)
    said = [len(findings(rng.normal(60, 1, 40) * MS)) > 0 for _ in range(200)]
    assert np.mean(said) < 0.10


@pytest.mark.parametrize("find", [find_polling, find_steps, find_humps])
def test_scatter_alarms_in_one_of_a_hundred(find: object) -> None:
    rng = np.random.default_rng(2)
    assert callable(find)
    alarms = [find(rng.normal(60, 1, n) * MS) is not None for n in (20, 40, 60) for _ in range(300)]
    assert np.mean(alarms) < 0.02


def test_a_polling_body_raises_no_alarm_of_steps_or_humps() -> None:
    rng = np.random.default_rng(3)
    lags = [(rng.uniform(0, 8, 40) + rng.normal(0, 0.4, 40)) * MS for _ in range(200)]
    assert np.mean([find_steps(lag) is not None for lag in lags]) < 0.03
    assert np.mean([find_humps(lag) is not None for lag in lags]) < 0.03


def test_trends_alarm_in_one_of_a_hundred() -> None:
    rng = np.random.default_rng(4)
    drifts, firsts, paces = [], [], []
    for _ in range(400):
        start, rest = rests(rng, 30, steady=False)
        lag = rng.normal(60, 1, 30) * MS
        drifts.append(find_drift(lag, start) is not None)
        firsts.append(find_first_shot(lag, np.arange(30) == 0) is not None)
        paces.append(find_pace(lag, rest) is not None)
    for alarms in (drifts, firsts, paces):
        assert np.mean(alarms) < 0.025


def test_polling_period_is_recovered() -> None:
    rng = np.random.default_rng(5)
    seen, covered = 0, 0
    for _ in range(40):
        found = find_polling((rng.uniform(0, 8, 60) + rng.normal(0, 0.4, 60)) * MS)
        if found is not None:
            seen += 1
            covered += found.interval_s[0] <= 8 * MS <= found.interval_s[1]
    assert seen >= 35
    assert covered >= 0.85 * seen


def test_steps_are_found_with_their_size() -> None:
    rng = np.random.default_rng(6)
    for _ in range(20):
        lag = (60 + 2.0 * rng.integers(0, 6, 40) + rng.normal(0, 0.15, 40)) * MS
        found = find_steps(lag)
        assert found is not None
        assert abs(found.step_s - 2 * MS) < 0.1 * MS


def test_drift_is_said_with_its_size() -> None:
    rng = np.random.default_rng(7)
    found = findings((60 + np.linspace(0, 6, 40) + rng.normal(0, 0.5, 40)) * MS)["drift"]
    assert found.body == "B"
    assert "Bittern" in found.say
    assert found.figures["low_s"] < 6 * MS < found.figures["high_s"]


def test_first_shot_is_said_with_its_size() -> None:
    rng = np.random.default_rng(8)
    lag = rng.normal(60, 0.5, 30) * MS
    lag[0] += 12 * MS
    found = findings(lag)
    assert set(found) == {"first shot"}
    assert abs(found["first shot"].figures["late_s"] - 12 * MS) < 1.5 * MS


def test_pace_is_said_with_its_slope() -> None:
    rng = np.random.default_rng(9)
    start, rest = rests(rng, 60, steady=False)
    lag = (60 + 0.4 * np.nan_to_num(rest, nan=5.0) + rng.normal(0, 0.3, 60)) * MS
    found = {f.code: f for f in notice_times(lag, start, rest, np.arange(60), "Lapwing (A)", "A")}
    figures = found["interval"].figures
    assert figures["low"] < 0.4 * MS < figures["high"]


def test_two_humps_are_said_with_their_gap() -> None:
    rng = np.random.default_rng(10)
    lag = (np.where(rng.uniform(size=50) < 0.35, 70.0, 58.0) + rng.normal(0, 0.7, 50)) * MS
    found = findings(lag)
    assert abs(found["two humps"].figures["gap_s"] - 12 * MS) < 1 * MS


def test_outliers_are_flagged_by_number() -> None:
    rng = np.random.default_rng(11)
    lag = rng.normal(60, 0.5, 40) * MS
    lag[16] += 30 * MS
    found = findings(lag)["outliers"]
    assert "shot 17" in found.say


def make_shots(lag_s: Floats, *, apart_s: npt.ArrayLike = 0.0, swapped: bool = False) -> tuple[Shots, Floats]:
    """Pairs every 3 s; B's press is `apart_s` after A's. Returns the mid-exposures as the sensors saw
    them."""
    n = lag_s.shape[0]
    full = np.zeros((n, 2))
    full[:, 1] = apart_s
    mid = full + lag_s
    if swapped:
        mid = mid[:, ::-1]
    nothing = np.zeros((n, 2), dtype=np.int64)
    rest = np.full(n, 3.0)
    rest[:1] = np.nan
    shots = Shots(
        number=np.arange(1, n + 1),
        start_s=np.arange(n, dtype=np.float64) * 3.0,
        rest_s=rest,
        delay_s=np.zeros((n, 2)),
        full_s=full,
        sync_s=mid,
        sync_open_s=mid,
        gate_open_s=np.full((n, 2, 2), np.nan),
        gate_close_s=np.full((n, 2, 2), np.nan),
        bounces=nothing,
        flicks=nothing,
        extras=nothing,
        lost=np.zeros(n, dtype=np.int64),
    )
    return shots, mid


def lags(seed: int, n: int = 30) -> Floats:
    return np.asarray(np.random.default_rng(seed).normal((60, 80), 0.5, (n, 2))) * MS


def codes(shots: Shots, mid: Floats, wind: str = "motor") -> dict[str, Finding]:
    found = notice(shots, mid, mid - shots.full_s, names=NAMES, winds=(wind, wind))
    return {one.code: one for one in found}


def test_a_body_that_stops_is_named_with_its_last_shot() -> None:
    shots, mid = make_shots(lags(12))
    mid[7:, 1] = np.nan
    found = codes(shots, mid)["stopped answering"]
    assert found.body == "B"
    assert "Bittern (B) stopped answering after shot 7" in found.say


def test_a_manual_body_that_misses_was_not_wound() -> None:
    shots, mid = make_shots(lags(13))
    mid[4, 0] = np.nan
    found = codes(shots, mid, "manual")["missed"]
    assert found.body == "A"
    assert "shot 5" in found.say
    assert "wound" in found.advice


def test_a_body_that_never_answers() -> None:
    shots, mid = make_shots(lags(14))
    mid[:, 0] = np.nan
    assert codes(shots, mid)["never answered"].body == "A"


def test_contacts_that_bounce_flick_and_fire_twice() -> None:
    shots, mid = make_shots(lags(15))
    busy = np.zeros((30, 2), dtype=np.int64)
    busy[:12, 1] = 2
    once = np.zeros((30, 2), dtype=np.int64)
    once[3, 0] = 1
    found = codes(replace(shots, bounces=busy, flicks=busy, extras=once), mid)
    assert found["bounce"].body == "B"
    assert found["early flick"].body == "B"
    assert found["extra trigger"].body == "A"


def test_lost_edges_are_told() -> None:
    shots, mid = make_shots(lags(16))
    lost = np.zeros(30, dtype=np.int64)
    lost[2] = 40
    assert codes(replace(shots, lost=lost), mid)["lost edges"].figures["edges"] == 40


def test_swapped_plugs_show_when_the_presses_move_apart() -> None:
    apart = np.where(np.arange(30) % 2, 40.0, 0.0) * MS
    shots, mid = make_shots(lags(17), apart_s=apart, swapped=True)
    assert set(codes(shots, mid)) == {"swapped plugs"}
    shots, mid = make_shots(lags(17), apart_s=apart)
    assert "swapped plugs" not in codes(shots, mid)


def test_a_watched_series_tells_of_the_skew() -> None:
    lag = lags(18)
    lag[:, 1] += np.linspace(0, 8, 30) * MS
    shots, mid = make_shots(lag)
    watched = replace(shots, full_s=np.full((30, 2), np.nan))
    found = codes(watched, mid)["drift"]
    assert found.body is None
    assert found.say.startswith("The skew")


def test_nothing_at_all() -> None:
    shots, mid = make_shots(np.zeros((0, 2)))
    assert codes(shots, mid) == {}


def test_the_interval_of_a_drift_holds_for_one_that_levels_off() -> None:
    """Exponential warm-ups of a quarter of the series, and straight ones; a line held 44 % of the former."""
    rng = np.random.default_rng(20)
    start = np.linspace(0.0, 117.0, 40)
    for shape in (np.exp(-np.arange(40) / 10.0), 1.0 - np.arange(40) / 39.0):
        held = []
        for _ in range(40):
            size = rng.uniform(4.0, 10.0)
            found = find_drift((60.0 + size * shape + rng.normal(0, 1, 40)) * MS, start)
            assert found is not None
            moved = size * (shape[-1] - shape[0]) * MS
            held.append(found.interval_s[0] <= moved <= found.interval_s[1])
        assert np.mean(held) >= 0.87  # 0.95 less two and a half standard errors


def test_no_cause_is_told_of_shots_that_depend_on_their_order() -> None:
    """An oscillation is flat-topped as polling is, a step has two humps: neither is a habit of the body's release."""
    rng = np.random.default_rng(21)
    shot = np.arange(80)
    for centre in (4.0 * np.sin(shot / 4.0), np.where(shot < 40, 0.0, 12.0)):
        found = findings((60.0 + centre + rng.normal(0, 0.3, 80)) * MS)
        assert not {"polling", "steps", "two humps"} & set(found)
