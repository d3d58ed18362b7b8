"""Exposure against sources outside the project; each row names its own."""

from __future__ import annotations

import math

import pytest

from coincide.planning.exposure.pairing import pair_exposures
from coincide.rig.check import doubts
from coincide.rig.optics.stops import (
    aperture_value,
    filter_factor_stops,
    light_stops,
    meter_reading,
    time_value,
)
from coincide.units import shutter_time
from tests.rig.rigs import rig_with


def test_splitter_70_30_in_stops() -> None:
    """Base-two logarithms; 'two stops' for the reflection in the field is common practice, no source."""
    assert light_stops(0.70) == pytest.approx(-0.515, abs=5e-4)
    assert light_stops(0.30) == pytest.approx(-1.737, abs=5e-4)
    assert round(light_stops(0.30)) == -2


def test_deep_red_filter_on_infrared_film() -> None:
    """Common practice, no source: ISO 400 behind a four-stop filter is index 25, two stops from an ISO 100 reading;
    with the reflection's two, four in all."""
    glass = {"splitter.bands.infrared": {"transmission": 0.7, "reflection": 0.3}}
    second = pair_exposures(rig_with(glass), meter_reading("EV 13")).bodies[1]
    film = sum(step.stops for step in second.steps if ".film." in step.source)
    assert film == pytest.approx(math.log2(25 / 100)) == -2.0
    assert round(second.stops) == -4


@pytest.mark.parametrize(
    ("mark", "power"), [("1/1000", -10), ("1/500", -9), ("1/250", -8), ("1/125", -7), ("1/60", -6)]
)
def test_the_marked_series(mark: str, power: int) -> None:
    """ISO 516, from memory: the marks stand for powers of two."""
    assert shutter_time(mark).nominal_s == 2.0**power


def test_apex() -> None:
    """APEX, ISO 2720, from memory: Ev = Av + Tv; f/4 is Av 4, 1/250 is Tv 8; and Ev = Sv + Bv moves with the film
    speed by its logarithm."""
    assert aperture_value(4.0) == 4.0
    assert time_value(shutter_time("1/250").nominal_s) == 8.0
    assert meter_reading("f/4 1/250").ev100 == 12.0
    assert meter_reading("f/4 1/250 ISO 200").ev100 == 11.0


@pytest.mark.parametrize(("factor", "stops"), [(2, 1), (4, 2), (8, 3)])
def test_filter_factors(factor: float, stops: float) -> None:
    """Handbooks of photography, from memory."""
    assert filter_factor_stops(factor) == stops


def test_sunny_sixteen() -> None:
    """Common practice, no source: bright sun, f/16 and one over the film speed, is EV 15 within a third of a stop."""
    assert meter_reading("f/16 1/125 ISO 125").ev100 == pytest.approx(15.0, abs=1 / 3)


def test_x_sync_speed_holds_the_travel() -> None:
    """Trade fact, from memory: at the X-sync speed the frame is open as a whole, travel + contact delay + flash <=
    exposure; 1/250 is 3.906 ms."""
    assert shutter_time("1/250").nominal_s == pytest.approx(3.906e-3, abs=1e-6)
    fits = {"bodies.a.shutter.sync_speed": "1/250", "bodies.a.shutter.travel": "3.8 ms"}
    too_slow = fits | {"bodies.a.shutter.travel": "4 ms"}
    assert not any("bodies.a.shutter.travel" in doubt for doubt in doubts(rig_with(fits)))
    assert any("bodies.a.shutter.travel is 4 ms" in doubt for doubt in doubts(rig_with(too_slow)))
