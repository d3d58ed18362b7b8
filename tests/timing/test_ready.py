"""The readiness test keeps its error rates, and says what a person needs."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from coincide.errors import BadInput
from coincide.timing.ready import Calibrated, frames_to_spend, judge_ready, plan_ready, shots_it_takes
from tests.timing.ready_curves import BEGIN, DOCS, END, RIGS, simulate, table

MS = 1e-3
GOOD = Calibrated(tolerance_s=4 * MS, jitter_s=0.5 * MS, shots=40, type_a_s=0.08 * MS)


@pytest.mark.parametrize("polling", [False, True])
@pytest.mark.parametrize(("jitter", "shots"), RIGS)
def test_error_rates(jitter: float, shots: int, polling: bool) -> None:
    assert simulate(jitter, shots, 0.0, polling=polling).alarm <= 0.05
    assert simulate(jitter, shots, 0.25, polling=polling).alarm <= 0.05
    assert simulate(jitter, shots, 0.5, polling=polling).ready <= 0.05
    assert simulate(jitter, shots, 0.0, 2.0, polling=polling).ready <= 0.20


def test_it_stops_early_when_the_answer_is_clear() -> None:
    plan = plan_ready(Calibrated(1.0, 0.3, 60, 0.3 / np.sqrt(60)))
    assert simulate(0.3, 60, 0.0).shots < 0.6 * plan.usual
    assert simulate(0.3, 60, 0.75).shots < 0.6 * plan.usual


def test_the_page_shows_what_the_test_does() -> None:
    page = (DOCS / "ready.md").read_text(encoding="utf-8")
    assert page.partition(BEGIN)[2].partition(END)[0].strip() == table()


def test_more_jitter_takes_more_shots() -> None:
    plans = [plan_ready(Calibrated(4 * MS, jitter * MS, 60, 0.05 * MS)) for jitter in (0.4, 0.8, 1.6)]
    assert plans[0].usual <= plans[1].usual < plans[2].usual
    assert all(plan.least <= plan.usual <= plan.most for plan in plans)


def test_ready_says_what_was_ruled_out() -> None:
    rng = np.random.default_rng(1)
    found = judge_ready(GOOD, rng.normal(0, 0.5, 40) * MS)
    assert found.verdict == "ready"
    assert "ruled out" in found.why
    assert found.touch_up_s == 0.0
    assert found.shift_interval_s[0] > -2 * MS
    assert found.shift_interval_s[1] < 2 * MS


def test_touch_up_names_its_amount() -> None:
    rng = np.random.default_rng(2)
    found = judge_ready(GOOD, rng.normal(3, 0.5, 40) * MS)
    assert found.verdict == "touch up"
    assert_allclose(found.touch_up_s, 3 * MS, atol=0.5 * MS)


def test_too_few_shots_are_never_ready() -> None:
    found = judge_ready(GOOD, np.zeros(5))
    assert found.verdict == "go on"
    assert found.more > 0


def test_later_shots_do_not_undo_a_verdict() -> None:
    rng = np.random.default_rng(3)
    skew = rng.normal(0, 0.5, 60) * MS
    early = judge_ready(GOOD, skew[:40])
    assert judge_ready(GOOD, skew) == early


def test_the_first_shot_does_not_count() -> None:
    rng = np.random.default_rng(4)
    skew = rng.normal(0, 0.5, 40) * MS
    skew[0] = 40 * MS
    assert judge_ready(GOOD, skew).verdict == "ready"


def test_a_body_that_does_not_answer_is_not_ready() -> None:
    skew = np.random.default_rng(5).normal(0, 0.5, 40) * MS
    skew[6] = np.nan
    found = judge_ready(GOOD, skew)
    assert found.verdict == "not ready"
    assert "no answer" in found.why


def test_a_calibration_too_uncertain_says_so() -> None:
    found = judge_ready(Calibrated(2 * MS, 1 * MS, 10, 0.5 * MS), np.zeros(30))
    assert found.verdict == "not ready"
    assert "calibrate again" in found.why


def test_nonsense_is_refused() -> None:
    with pytest.raises(BadInput, match="calibrate again"):
        plan_ready(Calibrated(0.0, 1.0, 10, 0.1))


def test_it_says_what_it_will_take() -> None:
    plan = plan_ready(GOOD)
    assert f"{plan.least + 1} to {plan.most + 1} pairs" in shots_it_takes(plan)


def test_film_costs_are_counted() -> None:
    said = " ".join(frames_to_spend(plan_ready(GOOD)))
    assert f"{plan_ready(GOOD).most + 1} frames" in said
    assert "frame log" in said
