"""Bootstraps and the readiness simulation beside the library's own vectorised functions, in the same run.

Each pair does the same work: the same resamples of the same shots, the same tries of the same length. Ours is to be
no slower. Best of several, so that a busy machine slows both alike.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import special, stats

from coincide.timing.bodies.compare import RESAMPLES as SPREAD_RESAMPLES
from coincide.timing.bodies.compare import scale_ratio
from coincide.timing.offset.kernel import RESAMPLES, kernel_offset
from coincide.timing.offset.level import draw_level
from coincide.timing.offset.series import sort_out
from coincide.timing.ready import HARMLESS, JITTER_ALARM, REFUSED, Calibrated, plan_ready, running_verdicts

pytestmark = pytest.mark.benchmark

Floats = npt.NDArray[np.float64]
TRIES = 5


def best_s(work: Callable[[], object]) -> float:
    took = []
    for _ in range(TRIES):
        begin = time.perf_counter()
        work()
        took.append(time.perf_counter() - begin)
    return min(took)


def told(what: str, ours: float, theirs: float) -> None:
    print(f"\n{what}: ours {1e3 * ours:.1f} ms, SciPy's {1e3 * theirs:.1f} ms")


@pytest.mark.parametrize("shots", [30, 100, 300])
def test_the_bootstrap_of_the_best_offset(shots: int) -> None:
    """Kernel-smoothed keepers, the offset that keeps most, its percentile interval; beside `scipy.stats.bootstrap`
    with the same statistic over whole batches of resamples."""
    rng = np.random.default_rng(shots)
    hump = np.where(rng.uniform(size=shots) < 0.6, 0.018, 0.024)
    skew = hump + 0.0006 * rng.standard_normal(shots)
    tolerance = 0.003
    series = sort_out(skew, step_s=16e-9, keep_first=True)
    draws = draw_level(series.skew_s, series.x, seed=1)
    width = 0.3 * float(np.std(skew))
    grid = np.linspace(skew.min(), skew.max(), kernel_offset(series, draws, tolerance).curve_offset_s.size)

    def best_offset(sample: Floats, axis: int = -1) -> Floats:
        lines = np.moveaxis(np.atleast_2d(sample), axis, -1)
        held = np.stack(
            [
                special.ndtr((tolerance - lines + g) / width) - special.ndtr((-tolerance - lines + g) / width)
                for g in grid
            ]
        ).mean(axis=-1)
        return np.asarray(np.squeeze(grid[np.argmax(held, axis=0)]))

    def library() -> object:
        return stats.bootstrap(
            (skew,),
            best_offset,
            n_resamples=RESAMPLES,
            vectorized=True,
            method="percentile",
            batch=200,
            rng=np.random.default_rng(2),
        )

    ours, theirs = best_s(lambda: kernel_offset(series, draws, tolerance)), best_s(library)
    told(f"best offset of {shots} shots, {RESAMPLES} resamples", ours, theirs)
    assert ours <= theirs


@pytest.mark.parametrize("shots", [30, 300])
def test_the_bootstrap_of_a_ratio_of_spreads(shots: int) -> None:
    """Beside `scipy.stats.bootstrap` of the same logarithm, as many resamples. (The permutation test and Levene's are
    the library's own calls.)"""
    rng = np.random.default_rng(shots)
    one, two = 0.02 + 5e-4 * rng.standard_normal(shots), 0.02 + 9e-4 * rng.standard_normal(shots)

    def spread(values: Floats, axis: int) -> Floats:
        middle = np.median(values, axis=axis, keepdims=True)
        return np.asarray(np.mean(np.abs(values - middle), axis=axis))

    def ratio(first: Floats, second: Floats, axis: int = -1) -> Floats:
        return np.log(spread(second, axis) / spread(first, axis))

    def library() -> None:
        stats.bootstrap(
            (one, two),
            ratio,
            n_resamples=SPREAD_RESAMPLES // 2,
            vectorized=True,
            method="percentile",
            rng=np.random.default_rng(2),
        )

    ours, theirs = (
        best_s(lambda: scale_ratio(one, two, np.random.default_rng(2))),
        best_s(library),
    )
    told(f"ratio of spreads, {shots} shots each", ours, theirs)
    assert ours <= theirs


@pytest.mark.parametrize("jitter", [0.2, 0.4])
def test_the_simulation_of_readiness(jitter: float) -> None:
    """Verdicts after every shot of many tries, beside the same test by the library's densities: log likelihoods of
    both shifts from `scipy.stats.norm`, the spread from `scipy.stats.f`, whole columns of tries at once."""
    known = Calibrated(1.0, jitter, 60, jitter / np.sqrt(60))
    plan = plan_ready(known)
    skew = np.random.default_rng(4).normal(0.2, jitter, (2000, plan.most))

    def library() -> npt.NDArray[np.int8]:
        code = np.zeros(skew.shape, dtype=np.int8)
        for count in range(2, plan.most + 1):
            shots = skew[:, :count]
            mean, squares = shots.mean(axis=1), shots.var(axis=1) * count
            pooled = (59 * jitter**2 + squares) / (59 + count - 1)
            scale = np.sqrt(pooled / count + known.u_s**2)
            ratio = stats.norm.logpdf(np.abs(mean), REFUSED, scale) - stats.norm.logpdf(
                np.abs(mean), HARMLESS, scale
            )
            shaky = stats.f.sf(squares / (count - 1) / jitter**2, count - 1, 59) < JITTER_ALARM
            limit = np.log(40.0)
            moved = (ratio >= limit) | ((count == plan.most) & (ratio >= 0))
            steady = (ratio <= -limit) | ((count == plan.most) & (ratio < 0))
            column = np.where(moved, 2, np.where(steady, 1, 0))
            column = np.where((column != 0) & shaky, 3, column)
            code[:, count - 1] = column if count >= plan.least else 0
        return code

    # The same answers, so the same work.
    assert np.mean(library() == running_verdicts(known, skew)) > 0.9999
    ours, theirs = best_s(lambda: running_verdicts(known, skew)), best_s(library)
    told(f"readiness of 2000 tries of {plan.most} shots", ours, theirs)
    assert ours <= theirs
