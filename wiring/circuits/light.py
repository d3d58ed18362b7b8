"""Light and silicon: spectra of lamps, the eye's V(lambda), and what a photodiode gives for a lux.

A lux is defined through the eye, a photodiode counts photons: which lamp lights it decides what it gives. A white LED
has no infrared, and so gives a fifth of a tungsten lamp's current for the same lux.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Spectrum = Callable[[Array], Array]

KM_LM_PER_W = 683.0  # luminous efficacy of light of 540 THz, by the definition of the candela
WAVELENGTHS_NM: Array = np.arange(380.0, 1101.0, 5.0)
# CIE 018 photopic luminous efficiency, 380 to 780 nm in steps of 10 nm (memory).
V_LAMBDA = (
    *(4e-5, 1.2e-4, 4e-4, 1.2e-3, 4e-3, 0.0116, 0.023, 0.038, 0.06, 0.091, 0.139, 0.208, 0.323, 0.503),
    *(0.71, 0.862, 0.954, 0.995, 0.995, 0.952, 0.87, 0.757, 0.631, 0.503, 0.381, 0.265, 0.175, 0.107),
    *(0.061, 0.032, 0.017, 0.0082, 0.0041, 0.0021, 1.05e-3, 5.2e-4, 2.5e-4, 1.2e-4, 6e-5, 3e-5, 1.5e-5),
)
# An ordinary silicon photodiode, amperes a watt, 400 to 1100 nm in steps of 50 nm (common datasheets, memory).
SILICON_A_PER_W = (0.10, 0.17, 0.22, 0.27, 0.32, 0.37, 0.42, 0.47, 0.52, 0.57, 0.60, 0.60, 0.47, 0.25, 0.06)


def eye(nm: Array) -> Array:
    """V(lambda) at wavelengths in nm."""
    return np.interp(nm, np.arange(380.0, 781.0, 10.0), V_LAMBDA, left=0.0, right=0.0)


def silicon_a_per_w(nm: Array) -> Array:
    """Responsivity of the photodiode at wavelengths in nm, A/W."""
    return np.interp(nm, np.arange(400.0, 1101.0, 50.0), SILICON_A_PER_W, left=0.05, right=0.0)


def _bump(nm: Array, peak: float, below: float, above: float) -> Array:
    return np.exp(-(((nm - peak) / np.where(nm < peak, below, above)) ** 2) / 2)


def warm_white(nm: Array) -> Array:
    """White LED of about 3000 K: a blue line and a broad yellow-red phosphor (shape fitted to common datasheets)."""
    return 0.46 * _bump(nm, 451.0, 9.0, 12.0) + _bump(nm, 605.0, 68.0, 56.0)


def cool_white(nm: Array) -> Array:
    """White LED of about 5000 K: more blue, a yellow phosphor."""
    return 1.42 * _bump(nm, 451.0, 11.0, 11.5) + _bump(nm, 556.0, 41.0, 75.0)


def tungsten(nm: Array) -> Array:
    """Planck's law at 2856 K (CIE illuminant A), relative."""
    metre = nm * 1e-9
    second_k_m = 1.438777e-2  # hc/k, CODATA
    return (560e-9 / metre) ** 5 / np.expm1(second_k_m / (metre * 2856.0))


def lumens_per_watt(spectrum: Spectrum) -> float:
    """Luminous efficacy of radiation between 380 and 1100 nm, lm/W."""
    power = spectrum(WAVELENGTHS_NM)
    return float(KM_LM_PER_W * np.sum(power * eye(WAVELENGTHS_NM)) / np.sum(power))


def ampere_per_lux(spectrum: Spectrum, area_m2: float) -> float:
    """Current of the bare photodiode for one lux of a lamp, A/lx."""
    power = spectrum(WAVELENGTHS_NM)
    ampere = np.sum(power * silicon_a_per_w(WAVELENGTHS_NM)) * area_m2
    return float(ampere / (KM_LM_PER_W * np.sum(power * eye(WAVELENGTHS_NM))))
