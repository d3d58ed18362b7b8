"""What a lamp gives a photodiode, against the SI and the CIE."""

from __future__ import annotations

import numpy as np
import pytest

from coincide_wiring.circuits import light, specs
from coincide_wiring.circuits.sensors import AMPLIFIED
from coincide_wiring.figures.build import figures
from coincide_wiring.netlist import Build

# SI, exact since 2019: the electron's charge, Planck's constant, the speed of light, and 683 lm/W at 540 THz.
CHARGE_C, PLANCK_J_S, LIGHT_M_PER_S, KM = 1.602176634e-19, 6.62607015e-34, 299792458.0, 683.0
NM = np.arange(380.0, 781.0, 20.0)
# CIE 018:2019 photopic luminous efficiency every 20 nm, and the LED illuminants B2 (2998 K) and B4 (5109 K) of
# CIE 015:2018, relative; as carried by the general-purpose package colour-science 0.4.7.
V = np.array(
    [
        *(4e-5, 4e-4, 0.004, 0.023, 0.06, 0.139, 0.323, 0.71, 0.954, 0.995),
        *(0.87, 0.631, 0.381, 0.175, 0.061, 0.017, 0.0041, 0.00105, 0.00025, 6e-5, 1.5e-5),
    ]
)
LED_B2 = np.array(
    [
        *(0.0, 0.00103, 0.0256, 0.241, 0.407, 0.205, 0.305, 0.448, 0.589, 0.753),
        *(0.907, 1.0, 0.96, 0.795, 0.577, 0.38, 0.233, 0.136, 0.0779, 0.0446, 0.0267),
    ]
)
LED_B4 = np.array(
    [
        *(0.0, 0.00116, 0.0506, 0.516, 0.674, 0.189, 0.223, 0.467, 0.6, 0.634),
        *(0.617, 0.557, 0.457, 0.344, 0.24, 0.156, 0.0976, 0.0598, 0.0367, 0.0235, 0.0162),
    ]
)


def one_electron_a_per_lx(spectrum: np.ndarray, area_m2: float) -> float:
    """A photodiode of one electron a photon: e lambda/(h c) amperes a watt, over 683 lm/W x V(lambda)."""
    responsivity = CHARGE_C * NM * 1e-9 / (PLANCK_J_S * LIGHT_M_PER_S)
    return float(area_m2 * (spectrum * responsivity).sum() / (KM * (spectrum * V).sum()))


@pytest.mark.parametrize(("ours", "cie"), [(light.warm_white, LED_B2), (light.cool_white, LED_B4)])
def test_no_photodiode_gives_more_than_an_electron_for_a_photon(
    ours: light.Spectrum, cie: np.ndarray
) -> None:
    bound = one_electron_a_per_lx(cie, specs.DIODE_AREA_M2)
    assert 8e-9 < bound < 11e-9
    typical = light.ampere_per_lux(ours, specs.DIODE_AREA_M2)
    assert (
        0.5 * bound < typical < 0.75 * bound
    )  # ordinary silicon: 0.5 to 0.75 electrons a photon in the visible
    assert specs.PHOTODIODE["white_a_per_lx_max"] < bound


@pytest.mark.parametrize(("ours", "cie"), [(light.warm_white, LED_B2), (light.cool_white, LED_B4)])
def test_our_lamps_are_worth_as_many_lumens_a_watt_as_the_cies(ours: light.Spectrum, cie: np.ndarray) -> None:
    assert light.lumens_per_watt(ours) == pytest.approx(KM * (cie * V).sum() / cie.sum(), rel=0.05)


def test_a_tungsten_lux_is_worth_about_ten_of_a_white_leds() -> None:
    """Common datasheets (memory): 7 mm2 of silicon give 50 to 80 nA a lux of a 2856 K lamp, 6 to 7 of a white LED."""
    share = specs.PHOTODIODE["white_a_per_lx"] / light.ampere_per_lux(light.tungsten, specs.DIODE_AREA_M2)
    assert 0.08 < share < 0.14


def test_lenses_leave_as_much_light_as_photometry_says() -> None:
    """E = pi L T/(4 N^2) (any text on photometry): the drawn lamp's diffuser, seen by a lens that passes 0.9."""
    lamp = specs.GATE_LAMP
    area_m2 = lamp["strip_m"] * lamp["strip_across_m"]
    luminance = 2 * lamp["flux_lm"] * lamp["passed"] / (np.pi * area_m2)
    at_f8, at_f4 = (np.pi * luminance * 0.9 / (4 * number**2) for number in (8.0, 4.0))
    _, least, most = specs.GATE_LX["through-lens"]
    assert least == pytest.approx(at_f8, rel=0.6)
    assert most == pytest.approx(at_f4, rel=0.6)


@pytest.mark.parametrize("variant", sorted(AMPLIFIED))
def test_the_signal_stays_below_what_one_electron_a_photon_could_give(variant: str) -> None:
    (signal,) = [one for one in figures(Build(gate=(variant, variant))) if one.key == "gate_signal_a1"]
    gain_ohm, _, _ = AMPLIFIED[variant]
    most_lx = specs.GATE_LX[variant][2]
    slit = specs.SLIT_MASK["width_m"] * specs.PHOTODIODE["side_m"]
    assert signal.most < 1.01 * gain_ohm * most_lx * one_electron_a_per_lx(LED_B2, slit)
