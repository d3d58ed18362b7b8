"""The simulated shutters and contacts against first principles, worked out here afresh."""

from __future__ import annotations

import math
import statistics
from dataclasses import replace
from random import Random

import numpy as np
import pytest

from coincide.box.simulated.bodies.contacts import sync_changes
from coincide.box.simulated.bodies.release import ReleaseLag
from coincide.box.simulated.bodies.shutters import expose, gate_crossings
from coincide.box.simulated.lamps import LampRun
from coincide.box.simulated.spec import ContactSpec, GateSpec, ReleaseSpec, ShutterSpec

HZ = 125_000_000


def integrated(shutter: ShutterSpec, exposure_s: float, u: float) -> tuple[float, float]:
    """(light integral over peak, centre of gravity) of the light on a tiny sensor at u, by plain summation."""
    exposure = expose(shutter, exposure_s)
    low, high = u - 1e-4, u + 1e-4
    times = np.linspace(-0.1, exposure.end_s * 1.2 + 0.001, 200_001)
    light = np.array([exposure.light(float(t), low, high) for t in times[::20]])
    times = times[::20]
    return float(np.trapezoid(light, times) / light.max()), float((light * times).sum() / light.sum())


@pytest.mark.parametrize("run_up", [None, 0.0, 0.3, 2.0])
def test_curtains_cross_the_frame_in_the_travel_time_and_expose_every_point_alike(
    run_up: float | None,
) -> None:
    exposure = expose(ShutterSpec(travel_s=0.010, run_up=run_up), 0.004)
    opened = [exposure.lit_s(u)[0] for u in (0.0, 0.25, 0.5, 0.75, 1.0)]
    assert opened[0] == 0.0
    assert opened[-1] == pytest.approx(0.010, abs=1e-12)
    assert opened == sorted(opened)
    for u in (0.0, 0.3, 1.0):
        first, second = exposure.lit_s(u)
        assert second - first == pytest.approx(0.004, abs=1e-12)


def test_where_the_centre_lies_between_constant_speed_and_a_start_from_rest() -> None:
    """From rest x = t^2, so the centre is passed at sqrt(1/2) of the travel: 0.29 of it before the far edge."""
    before = {}
    for run_up in (None, 0.0, 0.5):
        exposure = expose(ShutterSpec(travel_s=1.0, run_up=run_up), 0.1)
        assert exposure.x_s is not None
        before[run_up] = exposure.x_s - exposure.lit_s(0.5)[0]
    assert before[None] == pytest.approx(0.5)
    assert before[0.0] == pytest.approx(1 - math.sqrt(0.5))
    assert before[0.0] < before[0.5] < before[None]


@pytest.mark.parametrize(
    "shutter",
    [
        ShutterSpec(travel_s=0.009),
        ShutterSpec(travel_s=0.009, run_up=0.2),
        ShutterSpec(kind="leaf", opening_s=0.0018, closing_s=0.0026),
        ShutterSpec(kind="leaf", opening_s=0.0018, closing_s=0.0026, aperture_area=0.3),
    ],
)
def test_half_peak_exposure_and_centroid_are_those_of_the_light(shutter: ShutterSpec) -> None:
    exposure = expose(shutter, 0.008)
    opened, closed = exposure.lit_s(0.4)
    effective, centroid = integrated(shutter, 0.008, 0.4)
    assert closed - opened == pytest.approx(effective, abs=3e-6)
    assert exposure.centroid_s(0.4) == pytest.approx(centroid, abs=2e-5)


def test_a_leaf_shutter_exposes_longer_stopped_down_and_syncs_when_fully_open() -> None:
    full = expose(ShutterSpec(kind="leaf", opening_s=0.002, closing_s=0.003), 0.008)
    small = expose(ShutterSpec(kind="leaf", opening_s=0.002, closing_s=0.003, aperture_area=0.1), 0.008)
    width = [closed - opened for opened, closed in (full.lit_s(0.5), small.lit_s(0.5))]
    assert width[0] == pytest.approx(0.008)
    assert width[1] == pytest.approx(0.008 + 0.9 * (0.002 + 0.003) / 2)
    assert full.x_s == small.x_s == 0.002
    assert full.light(0.002, 0, 1) == pytest.approx(1.0)


def test_blades_that_turn_back_reach_no_sync() -> None:
    exposure = expose(ShutterSpec(kind="leaf", opening_s=0.002, closing_s=0.002), 0.001)
    assert exposure.x_s is None
    assert max(exposure.light(t * 1e-5, 0, 1) for t in range(300)) == pytest.approx(0.5, abs=0.01)


def test_a_gate_sensor_crosses_half_where_the_point_at_its_centre_opens_and_closes() -> None:
    shutter = ShutterSpec(travel_s=0.010)
    exposure = expose(shutter, 0.008)
    crossings = gate_crossings(exposure, GateSpec(0.3, width=0.05), shutter, None)
    assert [level for _, level in crossings] == [1, 0]
    assert [t for t, _ in crossings] == pytest.approx(list(exposure.lit_s(0.3)), abs=2e-9)
    early = gate_crossings(exposure, GateSpec(0.3, width=0.05, threshold=0.3), shutter, None)
    # A fifth of the sensor's width earlier in, and as much later out.
    assert early[0][0] - crossings[0][0] == pytest.approx(-0.2 * 0.05 * 0.010, abs=2e-9)
    assert early[1][0] - crossings[1][0] == pytest.approx(0.2 * 0.05 * 0.010, abs=2e-9)


def test_the_sweep_direction_decides_which_sensor_sees_it_first() -> None:
    sensors = GateSpec(0.2), GateSpec(0.8)
    for sweep, first in (("down", 0), ("right", 0), ("up", 1), ("left", 1)):
        shutter = ShutterSpec(travel_s=0.010, sweep=sweep)  # type: ignore[arg-type]
        exposure = expose(shutter, 0.008)
        seen = [gate_crossings(exposure, sensor, shutter, None)[0][0] for sensor in sensors]
        assert seen[first] < seen[1 - first]
        assert abs(seen[0] - seen[1]) == pytest.approx(0.6 * 0.010, abs=1e-8)


def test_a_slit_narrower_than_half_the_sensor_never_trips_it() -> None:
    shutter = ShutterSpec(travel_s=0.010)
    assert gate_crossings(expose(shutter, 0.0009), GateSpec(0.5, width=0.2), shutter, None) == []
    assert len(gate_crossings(expose(shutter, 0.0021), GateSpec(0.5, width=0.2), shutter, None)) == 2


def test_a_flickering_lamp_chops_a_long_exposure() -> None:
    shutter = ShutterSpec(travel_s=0.004)
    lamp = lambda t_s: 0.5 * (1 + math.cos(2 * math.pi * 100 * t_s))  # noqa: E731
    crossings = gate_crossings(expose(shutter, 0.040), GateSpec(0.5), shutter, lamp)
    assert [level for _, level in crossings] == [1, 0] * (len(crossings) // 2)
    assert len(crossings) // 2 in (4, 5)


def test_a_contact_bounces_within_its_time_and_ends_closed() -> None:
    contact = ContactSpec(bounce_s=(0.002, 0.012), bounces=6)
    exposure = expose(ShutterSpec(travel_s=0.010), 0.016)
    assert exposure.x_s is not None
    for seed in range(200):
        changes = sync_changes(contact, exposure, 0.016, Random(seed))
        times, levels = [t for t, _ in changes], [level for _, level in changes]
        assert times == sorted(times)
        assert times[0] == exposure.x_s
        assert levels == [1, 0] * (len(levels) // 2)
        assert times[-2] - times[0] <= 0.012
        assert times[-1] == pytest.approx(exposure.end_s + contact.opens_after_s)


def test_x_is_suppressed_above_the_sync_speed_and_an_m_post_closes_early() -> None:
    exposure = expose(ShutterSpec(travel_s=0.010), 0.002)
    assert sync_changes(ContactSpec(x_exposure_s=0.008), exposure, 0.002, Random(1)) == []
    early = sync_changes(ContactSpec(placement_s=-0.014), exposure, 0.002, Random(1))
    assert early[0][0] == pytest.approx(-0.004)
    assert early[0][1] == 1


def lags(spec: ReleaseSpec, times_s: list[float], half_held_s: float | None = 1.0) -> list[float]:
    lag = ReleaseLag(spec, Random(4))
    return [lag.draw_s(round(t * HZ), half_held_s) for t in times_s]


def test_the_parts_of_a_release_lag() -> None:
    still = ReleaseSpec(lag_s=0.050, sigma_s=0.0)
    assert lags(still, [0, 5]) == [0.050, 0.050]
    warming = lags(replace(still, warmup_s=0.004, warmup_tau_s=10.0), [0, 10, 1000])
    assert warming == pytest.approx([0.050, 0.050 + 0.004 * (1 - math.exp(-1)), 0.054])
    first = lags(replace(still, first_shot_s=0.006, first_shot_rest_s=60.0), [0, 5, 100])
    assert first == pytest.approx([0.056, 0.050, 0.056])
    hurried = lags(replace(still, hurry_s=0.003, hurry_tau_s=2.0), [0, 2])
    assert hurried == pytest.approx([0.050, 0.050 + 0.003 * math.exp(-1)])
    asleep = lags(replace(still, wake_s=0.150, unready_s=0.040), [0], half_held_s=0.050)
    assert asleep == pytest.approx([0.050 + 0.100 + 0.040])
    humps = lags(replace(still, humps=((0.5, 0.008),)), [float(k) for k in range(400)])
    assert {round(x, 6) for x in humps} == {0.050, 0.058}
    assert 150 < sum(x > 0.054 for x in humps) < 250
    spread = lags(replace(still, sigma_s=0.001), [float(k) for k in range(2000)])
    assert statistics.stdev(spread) == pytest.approx(0.001, rel=0.06)


def test_polling_waits_are_uniform_over_the_period() -> None:
    lag = ReleaseLag(ReleaseSpec(polling_s=0.008), Random(4))
    waits = [lag.polling_wait_s() for _ in range(4000)]
    assert 0 <= min(waits) < 0.0001
    assert 0.0079 < max(waits) <= 0.008
    assert statistics.mean(waits) == pytest.approx(0.004, rel=0.05)
    assert statistics.stdev(waits) == pytest.approx(0.008 / math.sqrt(12), rel=0.05)


def test_a_solenoid_slows_with_heat_and_cools() -> None:
    lag = ReleaseLag(
        ReleaseSpec(kind="solenoid", lag_s=0.03, sigma_s=0, heat_s=0.001, cooling_tau_s=40), Random(1)
    )
    lag.warm(0, 3.0)
    assert lag.draw_s(0, None) == pytest.approx(0.033)
    assert lag.draw_s(40 * HZ, None) == pytest.approx(0.030 + 0.003 * math.exp(-1))


def test_lamps_seen_in_a_frame() -> None:
    run = LampRun(start_s=1.0, step_s=0.001, lamps=32, rows=2)
    assert run.on_film(1.0105, 1.0145) == (10, 14)
    assert run.on_film(1.0405, 1.0445) == (8, 12)
    assert run.on_film(0.9, 1.1) is None  # every lamp shone
