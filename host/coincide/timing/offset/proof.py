"""What a number of pairs proves, whatever the scatter looks like."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import stats

Floats = npt.NDArray[np.float64]


def proven_share(kept: int, pairs: int) -> tuple[float, float]:
    """Wilson's two-sided 95 % interval for the share of keepers; pairs >= 1."""
    interval = stats.binomtest(kept, pairs).proportion_ci(0.95, method="wilson")
    return float(interval.low), float(interval.high)


def pairs_to_prove(share: float) -> int:
    """Fewest pairs that, all kept, prove at least `share` (0 to 1, Wilson's lower end n / (n + z**2))."""
    z_squared = float(stats.norm.ppf(0.975)) ** 2
    return int(np.ceil(share * z_squared / (1.0 - share)))


def extremes_level(shots: int) -> float:
    """Probability that one more shot falls between the extremes of `shots`: (n - 1)/(n + 1), order
    statistics."""
    return (shots - 1) / (shots + 1)


def shots_for_extremes(level: float) -> int:
    """Fewest shots whose extremes hold one more shot with this probability."""
    # A hair less, as 0.95 is not quite 19/20 in binary.
    return int(np.ceil((1.0 + level) / (1.0 - level) - 1e-9))


def tolerance_factor(shots: int, content: float, confidence: float) -> float:
    """Two-sided normal tolerance factor by Howe (1969): mean +- k s holds `content` of all future shots with
    `confidence`. NIST/SEMATECH e-Handbook 7.2.6.3."""
    dof = shots - 1
    z = float(stats.norm.ppf(0.5 * (1.0 + content)))
    return float(z * np.sqrt(dof * (1.0 + 1.0 / shots) / stats.chi2.ppf(1.0 - confidence, dof)))


def median_interval(skew_s: Floats) -> tuple[float, float]:
    """Distribution-free interval of the median from order statistics (the binomial test turned round)."""
    test: Any = stats.quantile_test(skew_s, q=float(np.median(skew_s)), p=0.5)
    interval = test.confidence_interval(0.95)
    low, high = float(interval.low), float(interval.high)
    # Five shots or fewer cannot carry 95 %: scipy then answers nan, and the extremes are all there is.
    return (
        low if np.isfinite(low) else float(skew_s.min()),
        high if np.isfinite(high) else float(skew_s.max()),
    )
