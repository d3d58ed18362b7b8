"""Worlds the model does not know: there the budget has grown to hold the truth, or the tool complained."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coincide.timing.budgets import lag_budget
from coincide.timing.mid_exposure import mid_exposures
from coincide.timing.skew import lags_s
from tests.timing.test_mid_exposure import world
from tests.timing.test_shutter_worlds import rig_of, shots_of

MS = 1e-3


@pytest.mark.parametrize("seed", range(8))
def test_unequal_curtains(seed: int) -> None:
    """The second curtain takes a fifth longer: the far sensor goes dark late. Two sensors see that, unless
    they are so wide or slow that the travel they give is stated as uncertain by as much."""
    pair = (world("focal-plane", "two gates", seed), world("focal-plane", "two gates", seed + 50))
    shots, rig = shots_of(pair, np.random.default_rng(seed)), rig_of(pair)
    slower = pair[0].travel * 0.2 * MS
    closed = shots.gate_close_s.copy()
    closed[:, 0, 0] += 0.12 * slower
    closed[:, 0, 1] += 0.88 * slower
    body = mid_exposures(replace(shots, gate_close_s=closed), rig).bodies[0]
    complained = any("different speeds" in said for said in body.complaints)
    refused = body.refusal is not None and "because" in body.refusal
    assert complained or refused or 4 * body.travel_u_s > slower


@pytest.mark.parametrize("seed", range(8))
def test_a_contact_out_of_place_is_doubted_until_proved(seed: int) -> None:
    """Three milliseconds off: beyond what is claimed of any contact. Alone, it is complained of; beside a
    gate sensor it does no harm."""
    kind = ("focal-plane", "leaf")[seed % 2]
    pair = (world(kind, "sync", seed, contact_off=3.0), world(kind, "sync", seed + 50))
    alone = mid_exposures(shots_of(pair, np.random.default_rng(seed)), rig_of(pair)).bodies[0]
    assert any("gate sensor" in said for said in alone.complaints)

    both = (world(kind, "both", seed, contact_off=3.0), world(kind, "both", seed + 50))
    shots = shots_of(both, np.random.default_rng(seed))
    mids = mid_exposures(shots, rig_of(both))
    lag = lags_s(shots, mids)[:, 0]
    truth = both[0].lag + both[0].centre() + both[0].exposure / 2
    assert abs(float(np.mean(lag)) / MS - truth) < 2 * lag_budget(mids.bodies[0], lag).expanded_s / MS


def test_an_early_flick_is_named() -> None:
    from tests.timing.test_behaviour import codes, lags, make_shots

    shots, mid = make_shots(lags(19))
    flicks = np.zeros_like(shots.flicks)
    flicks[::3, 1] = 1
    assert codes(replace(shots, flicks=flicks), mid)["early flick"].body == "B"
