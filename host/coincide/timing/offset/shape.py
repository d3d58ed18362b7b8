"""The one family of scatter the offset is fitted with: a gaussian broadened by a uniform part.

A body's release lag scatters about its centre for two reasons: many small mechanical ones (gaussian) and,
in bodies whose electronics look at the release only every so often, a uniform part as wide as that polling
period. With `z = (x - centre) / sigma` and `half = period / (2 sigma)` the density of z is

    f(z) = (Phi(z + half) - Phi(z - half)) / (2 half)          half > 0
    f(z) = phi(z)                                              half = 0

(the convolution of a rectangle and a normal; Phi and phi from `scipy.special`). It is symmetric, has one
hump and its logarithm is concave, so the window of +-tolerance that catches most of it is the one centred on
it, and the likelihood in (1/sigma, centre/sigma) has one maximum.

Everything broadcasts; arguments are dimensionless; `half` of zero means gaussian.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special

Floats = npt.NDArray[np.float64]

_LOG_ROOT_TWO_PI = 0.5 * float(np.log(2.0 * np.pi))
_NARROW = 0.05  # below this a rectangle changes the normal by less than half**2 / 6 = 0.04 % of its variance

_FAR = 1e6  # standard deviations


def log_density(z: Floats, half: Floats) -> Floats:
    """Logarithm of f(z). Finite everywhere: the far tail goes through `log_ndtr`, never through log(0)."""
    z = np.abs(z)
    flat = half < _NARROW
    wide = np.where(flat, 1.0, half)
    near = special.log_ndtr(wide - z)
    far = special.log_ndtr(-wide - z)
    broad = near + np.log1p(-np.exp(far - near)) - np.log(2.0 * wide)
    return np.asarray(np.where(flat, -0.5 * z * z - _LOG_ROOT_TWO_PI, broad), dtype=np.float64)


def slope_and_curvature(z: Floats, half: Floats, log_f: Floats) -> tuple[Floats, Floats]:
    """First and second derivative of log f at z; `log_f` is `log_density(z, half)`, passed to save time."""
    # So far out the rectangle's width is nothing beside z, and the differences below would be rounding alone.
    flat = (half < _NARROW) | (np.abs(z) > _FAR)
    there = np.where(flat, 0.0, z)
    wide = np.where(flat, 1.0, half)
    shift = np.where(flat, 0.0, log_f) + np.log(2.0 * wide) + _LOG_ROOT_TWO_PI
    up, down = there + wide, there - wide
    at_up = np.exp(-0.5 * up * up - shift)
    at_down = np.exp(-0.5 * down * down - shift)
    slope = at_up - at_down
    curvature = down * at_down - up * at_up - slope * slope
    return np.where(flat, -z, slope), np.where(flat, -1.0, curvature)


def probability_below(z: Floats, half: Floats) -> Floats:
    """Distribution function of f: the integral of Phi over the rectangle."""
    flat = half < _NARROW
    wide = np.where(flat, 1.0, half)
    broad = (_normal_ramp(z + wide) - _normal_ramp(z - wide)) / (2.0 * wide)
    return np.asarray(np.where(flat, special.ndtr(z), broad), dtype=np.float64)


def _normal_ramp(z: Floats) -> Floats:
    """Integral of Phi from minus infinity to z: z Phi(z) + phi(z)."""
    return np.asarray(z * special.ndtr(z) + np.exp(-0.5 * z * z - _LOG_ROOT_TWO_PI), dtype=np.float64)


def deviation(half: Floats) -> Floats:
    """Standard deviation of f: sqrt(1 + half**2 / 3), a rectangle of half-width a adding a / sqrt 3 (GUM
    4.3.7)."""
    return np.asarray(np.sqrt(1.0 + half * half / 3.0), dtype=np.float64)
