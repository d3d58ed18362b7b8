"""The shutter rows: effective exposure, slit and speed, sync, bandwidth; each test names its source."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import integrate

from coincide.timing.shutter.sensors import EdgeModel, effective_exposure_s, why_too_slow
from coincide.timing.shutter.sync import EXPOSURE_STOPS
from tests.rig.rigs import rig_with

MS = 1e-3


@pytest.mark.parametrize(("rise", "flat", "fall"), [(1.0, 4.0, 1.0), (2.0, 0.0, 3.0), (1.5, 6.0, 2.4)])
def test_effective_exposure_of_a_trapezoid(rise: float, flat: float, fall: float) -> None:
    """ISO 516 (memory): light integral over peak, equal to the half-peak width; integrated here by SciPy."""
    corners = np.cumsum([0.0, rise, flat + 1e-12, fall])
    t = np.linspace(0.0, corners[-1], 200_001)
    light = np.interp(t, corners, [0.0, 1.0, 1.0, 0.0])
    integral = integrate.trapezoid(light, t) / light.max()
    half = t[light >= 0.5]
    assert_allclose(effective_exposure_s(rise, flat, fall), integral, rtol=1e-6)
    assert_allclose(half[-1] - half[0], integral, atol=1e-3)


def test_x_sync_speed() -> None:
    """Trade fact (memory): travel, contact delay and flash duration must fit into the exposure; marked
    1/250 is 2**-8 s = 3.906 ms (ISO 516 series, memory)."""
    rig = rig_with({"bodies.a.shutter.exposure": "1/250"})
    nominal = rig.bodies.a.shutter.exposure.nominal_s
    assert_allclose(nominal, 3.90625 * MS)
    travel, contact, flash = 2.9 * MS, 0.2 * MS, 0.5 * MS
    assert travel + contact + flash <= nominal
    assert not 3.5 * MS + contact + flash <= nominal


def test_slit_over_speed() -> None:
    """Geometry: a slit of width s at curtain speed v exposes a point for s/v."""
    from coincide.timing.shutter.traits import shutter_model

    rig = rig_with(
        {
            "bodies.a.shutter.travel": "8 ms",
            "bodies.a.shutter.curve": 0.5,
            "bodies.a.shutter.sweep": "top to bottom",
        }
    )
    model = shutter_model(rig.bodies.a)
    speed = model.length_m / model.sweep_s
    assert_allclose(model.time_at(0.75) - model.time_at(0.25), 0.5 * model.length_m / speed)


def test_speed_tolerance() -> None:
    """ISO 516 (memory): about a third of a stop at the slower speeds."""
    assert_allclose(EXPOSURE_STOPS, 1.0 / 3.0)


def test_bandwidth_for_a_total_open_time() -> None:
    """ISO 516:2019, test method: -3 dB at 100/t0, so 1 ms asks for 100 kHz, a rise of 3.5 us (0.35/f)."""
    just, short = EdgeModel(0.0, 3.49e-6, 0.5), EdgeModel(0.0, 3.51e-6, 0.5)
    assert_allclose(just.bandwidth_hz * just.rise_s, 0.35, atol=5e-4)
    assert why_too_slow(1 * MS, just, "body A") is None
    assert why_too_slow(1 * MS, short, "body A") is not None


def test_rise_time_of_a_first_order_sensor() -> None:
    """Electronics text: 10 to 90 % rise = 2.2 RC = 0.35 / f."""
    edge = EdgeModel(0.0, 2.2e-6, 0.5)
    assert_allclose(edge.constant_s, 1e-6, rtol=2e-3)
