"""Looking ahead: a warm-up too slight to have shown is allowed for, and a steady body hardly pays for it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from coincide.timing.offset.ahead import looking_ahead
from coincide.timing.offset.level import LevelDraws, draw_level
from coincide.timing.offset.suggest import suggest_offset
from coincide.timing.offset.verify import Verification, verify

Floats = npt.NDArray[np.float64]

MS = 1e-3
SERIES, FRESH = 30, 30
WORLDS = 60


def foretold(seed: int, change: float, constant: float) -> Verification:
    """A series and a fresh one of a body that scatters by 1 ms and warms up by `change` scatters over the
    series, with this time constant in lengths of the series."""
    rng = np.random.default_rng([31, seed])
    shot = np.arange(SERIES + FRESH)
    curve = np.exp(-shot / (SERIES - 1) / constant) / -np.expm1(-1.0 / constant)
    skew = 20 * MS + 1 * MS * (rng.standard_normal(shot.size) + change * curve)
    found = suggest_offset(skew[:SERIES], tolerance_s=2 * MS)
    return verify(found, skew[SERIES:] - found.offset_s)


def series_of(change_s: float, seed: int = 0) -> LevelDraws:
    rng = np.random.default_rng([33, seed])
    x = np.linspace(-1.0, 0.0, SERIES)
    return draw_level(1 * MS * rng.standard_normal(SERIES) + change_s * np.exp(-3.0 * (x + 1.0)), x)


def drift_chance(draws: LevelDraws) -> float:
    return float(draws.weight[np.isfinite(draws.time_constant)].sum())


def as_supposed(seed: int) -> Verification:
    """A world drawn from what looking ahead supposes: every other body drifts, half of those slightly."""
    rng = np.random.default_rng([37, seed])
    drifts = rng.uniform() < 0.5
    change = rng.normal(0.0, rng.choice([2.0, 20.0])) if drifts else 0.0
    return foretold(seed, change, rng.choice([0.05, 0.08, 0.13, 0.2, 0.33, 0.5, 0.8, 1.5]))


def test_where_bodies_drift_as_supposed_the_centre_is_within_its_claim_as_often_as_claimed() -> None:
    share = float(np.mean([as_supposed(seed).centre_agrees for seed in range(WORLDS)]))
    assert abs(share - 0.95) <= 3.0 * np.sqrt(0.95 * 0.05 / WORLDS)


def test_a_steady_body_pays_little() -> None:
    """What is allowed stays within two fifths of what the scatter of two steady series, known, explains."""
    alone = 1.96 * 1 * MS * np.sqrt(1.0 / SERIES + 1.0 / FRESH)
    allowed = [foretold(seed, 0.0, 1.0).centre_allowed_s for seed in range(20)]
    assert np.mean(allowed) <= 1.4 * alone


@pytest.mark.parametrize("change", [0.0, 1.0, 3.0, 10.0, 40.0, 1000.0])
def test_weights_stay_a_posterior_however_large_the_drift(change: float) -> None:
    ahead = looking_ahead(series_of(change * MS))
    assert np.all(ahead.weight >= 0.0)
    assert ahead.weight.sum() == pytest.approx(1.0)
    # The draws must not collapse onto a few: a hundred equal ones would tell a quantile to five points.
    assert 1.0 / np.sum(ahead.weight**2) >= 100.0


def test_a_drift_is_likelier_ahead_and_a_plain_one_no_less_certain() -> None:
    for seed in range(5):
        steady_draws, plain = series_of(0.0, seed), series_of(10 * MS, seed)
        assert drift_chance(looking_ahead(steady_draws)) > drift_chance(steady_draws)
        assert drift_chance(looking_ahead(plain)) > 0.999
