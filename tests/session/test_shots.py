"""Edges into pairs: known contacts and lights in, the right ones out and every other edge counted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from coincide.session.file import read_session
from coincide.session.model import Plan, ShotRecord, Shots
from coincide.session.rules import EdgeRules
from coincide.session.shots import shots_from_session
from tests.session.sessions import TICK_HZ, pulse, record, write

TICK_S = 1 / TICK_HZ
PRESSED = pulse("full_a", 0.3, 0.45) + pulse("full_b", 0.318, 0.468)
GOOD_A = pulse("sync_a", 0.36, 0.37)
GOOD_B = pulse("sync_b", 0.38, 0.39)


def shots_of(path: Path, *records: ShotRecord, rules: EdgeRules = EdgeRules()) -> Shots:  # noqa: B008
    return shots_from_session(read_session(write(path / "s.jsonl", records)), (rules, rules))


def test_a_clean_pair(tmp_path: Path) -> None:
    gates = pulse("gate_a1", 0.355, 0.371) + pulse("gate_a2", 0.358, 0.374) + pulse("gate_b2", 0.377, 0.385)
    plan = Plan(delay_b_ns=18_000_000)
    shots = shots_of(tmp_path, record(7, PRESSED + GOOD_A + GOOD_B + gates, at_s=5.0, plan=plan, lost=2))
    assert shots.number.tolist() == [7]
    assert shots.lost.tolist() == [2]
    assert shots.start_s.tolist() == [0.0]
    assert np.isnan(shots.rest_s).tolist() == [True]
    assert shots.delay_s[0] == pytest.approx([0.0, 0.018])
    assert shots.full_s[0] == pytest.approx([0.0, 0.018], abs=TICK_S)
    assert shots.sync_s[0] == pytest.approx([0.06, 0.08], abs=TICK_S)
    assert shots.sync_open_s[0] == pytest.approx([0.07, 0.09], abs=TICK_S)
    assert shots.gate_open_s[0] == pytest.approx(
        np.array([[0.055, 0.058], [np.nan, 0.077]]), nan_ok=True, abs=TICK_S
    )
    assert shots.gate_close_s[0] == pytest.approx(
        np.array([[0.071, 0.074], [np.nan, 0.085]]), nan_ok=True, abs=TICK_S
    )
    for counts in (shots.bounces, shots.flicks, shots.extras):
        assert counts.tolist() == [[0, 0]]


def test_start_and_rest_run_over_the_session(tmp_path: Path) -> None:
    pairs = [record(n, PRESSED, at_s=at_s) for n, at_s in ((1, 3.0), (2, 5.5), (3, 3600.0))]
    shots = shots_of(tmp_path, *pairs)
    assert shots.start_s == pytest.approx([0.0, 2.5, 3597.0], abs=TICK_S)
    assert shots.rest_s == pytest.approx([np.nan, 2.5, 3594.5], abs=TICK_S, nan_ok=True)


@pytest.mark.parametrize("bounce_s", [0.0002, 0.001, 0.004, 0.012])
@pytest.mark.parametrize("touches", [2, 3, 5])
def test_a_bouncing_contact_counts_from_its_first_touch(
    tmp_path: Path, bounce_s: float, touches: int
) -> None:
    """As long as the first touch is an exposure's or the gaps are a bounce's."""
    begins = 0.36 + np.linspace(0.0, bounce_s, touches + 1)
    edges = [edge for at in begins[:-1] for edge in pulse("sync_a", at, at + bounce_s / touches / 4)]
    edges += pulse("sync_a", begins[-1], 0.40)
    shots = shots_of(tmp_path, record(1, PRESSED + edges + GOOD_B))
    assert shots.sync_s[0] == pytest.approx([0.06, 0.08], abs=TICK_S)
    assert shots.sync_open_s[0, 0] == pytest.approx(0.1, abs=TICK_S)
    assert shots.bounces.tolist() == [[touches, 0]]
    assert shots.flicks.tolist() == shots.extras.tolist() == [[0, 0]]


def test_a_touch_alone_before_the_closing_is_a_flick_and_no_bounce(tmp_path: Path) -> None:
    edges = pulse("sync_a", 0.352, 0.3521) + GOOD_A
    shots = shots_of(tmp_path, record(1, PRESSED + edges))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)
    assert shots.flicks[0, 0] == 1
    assert shots.bounces[0, 0] == 0


def test_one_long_bounce_is_no_second_firing(tmp_path: Path) -> None:
    edges = pulse("sync_a", 0.36, 0.361) + pulse("sync_a", 0.3715, 0.39)
    shots = shots_of(tmp_path, record(1, PRESSED + edges))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)
    assert shots.sync_open_s[0, 0] == pytest.approx(0.09, abs=TICK_S)
    assert (shots.bounces[0, 0], shots.extras[0, 0]) == (1, 0)


def test_bounce_on_opening_is_no_second_firing(tmp_path: Path) -> None:
    edges = pulse("sync_a", 0.36, 0.393) + pulse("sync_a", 0.3942, 0.3945) + pulse("sync_a", 0.396, 0.3965)
    shots = shots_of(tmp_path, record(1, PRESSED + edges))
    assert shots.sync_open_s[0, 0] == pytest.approx(0.0965, abs=TICK_S)
    assert shots.bounces[0, 0] == 2
    assert shots.extras[0, 0] == 0


def test_flicks_before_and_after_are_counted_not_taken(tmp_path: Path) -> None:
    early = pulse("sync_a", 0.301, 0.3025)  # crosstalk of the other solenoid, long but far too early
    short = pulse("sync_a", 0.33, 0.3302) + pulse("sync_a", 0.44, 0.4401)  # mirror slap, wind-on
    shots = shots_of(tmp_path, record(1, PRESSED + early + short + GOOD_A))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)
    assert shots.flicks.tolist() == [[3, 0]]
    assert shots.bounces.tolist() == shots.extras.tolist() == [[0, 0]]


def test_an_early_closing_does_not_drag_the_true_one_out_of_the_window(tmp_path: Path) -> None:
    edges = pulse("sync_a", 0.3025, 0.304) + pulse("sync_a", 0.306, 0.32)
    shots = shots_of(tmp_path, record(1, PRESSED + edges))
    assert shots.sync_s[0, 0] == pytest.approx(0.006, abs=TICK_S)
    assert shots.flicks[0, 0] == 1


def test_a_body_fired_twice_gives_extras(tmp_path: Path) -> None:
    again = pulse("sync_a", 0.60, 0.61) + pulse("sync_a", 0.612, 0.613)
    shots = shots_of(tmp_path, record(1, PRESSED + GOOD_A + again))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)
    assert shots.extras.tolist() == [[2, 0]]


def test_a_contact_the_mirror_shook_is_not_taken_for_the_exposure(tmp_path: Path) -> None:
    """Two milliseconds closed, and then the contact that is held while the frame is open."""
    shaken = pulse("sync_a", 0.320, 0.322)
    shots = shots_of(tmp_path, record(1, PRESSED + shaken + GOOD_A), rules=EdgeRules(held_s=0.004))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)
    assert shots.flicks[0, 0] == 1
    assert shots.extras[0, 0] == 0


def test_a_contact_that_only_pulses_is_taken_as_it_comes(tmp_path: Path) -> None:
    rules = EdgeRules(held_s=0.004)
    shots = shots_of(tmp_path, record(1, PRESSED + pulse("sync_a", 0.36, 0.361)), rules=rules)
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)


def test_a_contact_still_closed_at_the_end_says_nothing_of_the_one_before_it(tmp_path: Path) -> None:
    rules = EdgeRules(held_s=0.004)
    stuck = [*PRESSED, *pulse("sync_a", 0.36, 0.362), ("sync_a", 1, 0.9)]
    shots = shots_of(tmp_path, record(1, stuck), rules=rules)
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)


def test_too_late_is_no_answer(tmp_path: Path) -> None:
    rules = EdgeRules(latest_s=0.2)
    shots = shots_of(tmp_path, record(1, PRESSED + pulse("sync_b", 0.7, 0.71)), rules=rules)
    assert np.isnan(shots.sync_s).all()
    assert shots.extras.tolist() == [[0, 1]]


def test_a_contact_still_closed_when_the_window_ends(tmp_path: Path) -> None:
    shots = shots_of(tmp_path, record(1, [*PRESSED, ("sync_a", 1, 0.36)]))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)
    assert np.isnan(shots.sync_open_s[0, 0])


def test_a_contact_closed_from_before_counts_from_its_next_closing(tmp_path: Path) -> None:
    shots = shots_of(tmp_path, record(1, [*PRESSED, ("sync_a", 0, 0.31), *GOOD_A]))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)


def test_a_lost_opening_is_not_read_as_a_bounce(tmp_path: Path) -> None:
    edges = [("sync_a", 1, 0.36), ("sync_a", 1, 0.365), ("sync_a", 0, 0.37)]
    shots = shots_of(tmp_path, record(1, PRESSED + edges, lost=1))
    assert shots.sync_s[0, 0] == pytest.approx(0.06, abs=TICK_S)
    assert shots.bounces[0, 0] == 0


def test_gate_chatter_is_bridged_and_specks_of_light_are_not_an_exposure(tmp_path: Path) -> None:
    light = pulse("gate_a1", 0.340, 0.34001)  # a reflection, 10 us
    light += pulse("gate_a1", 0.355, 0.35505) + pulse("gate_a1", 0.3551, 0.371)
    shots = shots_of(tmp_path, record(1, PRESSED + light))
    assert shots.gate_open_s[0, 0, 0] == pytest.approx(0.055, abs=TICK_S)
    assert shots.gate_close_s[0, 0, 0] == pytest.approx(0.071, abs=TICK_S)


def test_a_spike_before_a_short_exposure_is_not_the_exposure(tmp_path: Path) -> None:
    """60 us at the gate before 1/4000: longer than a tenth of it, and yet no exposure, as the light that lasts follows.
    Alone it is all that came, and is taken as it is."""
    for folder in ("both", "alone", "first"):
        (tmp_path / folder).mkdir()
    fast = EdgeRules(gate_shortest_s=25e-6, gate_held_s=1e-4)
    spike, light = pulse("gate_a1", 0.350, 0.35006), pulse("gate_a1", 0.355, 0.35525)
    both = shots_of(tmp_path / "both", record(1, PRESSED + GOOD_A + GOOD_B + spike + light), rules=fast)
    assert both.gate_open_s[0, 0, 0] == pytest.approx(0.055, abs=TICK_S)
    alone = shots_of(tmp_path / "alone", record(1, PRESSED + GOOD_A + GOOD_B + spike), rules=fast)
    assert alone.gate_open_s[0, 0, 0] == pytest.approx(0.050, abs=TICK_S)
    after = pulse("gate_a1", 0.360, 0.36006)
    light_first = shots_of(
        tmp_path / "first", record(1, PRESSED + GOOD_A + GOOD_B + light + after), rules=fast
    )
    assert light_first.gate_open_s[0, 0, 0] == pytest.approx(0.055, abs=TICK_S)


def test_a_watched_group_has_no_full_press_and_no_window(tmp_path: Path) -> None:
    edges = pulse("sync_b", 0.0, 0.01) + pulse("sync_a", 0.0021, 0.012)
    shots = shots_of(tmp_path, record(1, edges, at_s=40.0, plan=None), record(2, edges, at_s=44.0, plan=None))
    assert np.isnan(shots.full_s).all()
    assert shots.delay_s.tolist() == [[0.0, 0.0]] * 2
    assert shots.sync_s == pytest.approx(np.array([[0.0021, 0.0]] * 2), abs=TICK_S)
    assert shots.start_s == pytest.approx([0.0, 4.0], abs=TICK_S)


def test_a_pair_where_nothing_was_seen(tmp_path: Path) -> None:
    shots = shots_of(tmp_path, record(1, [], at_s=1.0), record(2, PRESSED, at_s=4.0), record(3, [], at_s=9.0))
    assert shots.start_s.tolist() == [0.0, 0.0, 0.0]
    assert np.isnan(shots.full_s[[0, 2]]).all()
    assert not np.isnan(shots.full_s[1]).any()


def test_a_session_without_pairs(tmp_path: Path) -> None:
    shots = shots_of(tmp_path)
    assert shots.number.shape == (0,)
    assert shots.sync_s.shape == (0, 2)
    assert shots.gate_open_s.shape == (0, 2, 2)


def test_each_body_has_its_own_rules(tmp_path: Path) -> None:
    session = read_session(write(tmp_path / "s.jsonl", [record(1, PRESSED + GOOD_A + GOOD_B)]))
    shots = shots_from_session(session, (EdgeRules(), EdgeRules(shortest_closed_s=0.02)))
    assert np.isnan(shots.sync_s).tolist() == [[False, True]]
    assert shots.flicks.tolist() == [[0, 1]]
