"""What each sensor can and cannot tell, and what is learned for later."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy import signal

from coincide.rig.calibration import Learned
from coincide.timing.bodies.black import notice_black
from coincide.timing.offset.suggest import suggest_offset, with_lost_keepers
from coincide.timing.shutter.mid_exposure import learn, mid_exposures
from coincide.timing.shutter.sensors import (
    EdgeModel,
    effective_exposure_s,
    flicker_hz,
    late_when_closing_s,
    late_when_opening_s,
    stops,
    why_blind,
    why_too_slow,
)
from tests.rig.rigs import rig_with
from tests.timing.shutter.shutter_worlds import ShutterWorld, make_shutter_world
from tests.timing.shutter.test_shutter_worlds import rig_of, shots_of

MS = 1e-3


def world(kind: str, sensing: str, seed: int = 0, **changes: float) -> ShutterWorld:
    rng = np.random.default_rng(seed)
    while True:
        found = make_shutter_world(rng)
        if found.kind == kind and found.sensing == sensing:
            return replace(found, **changes)  # type: ignore[arg-type]


def test_learned_from_both_sensors_sync_alone_does_later() -> None:
    """The contact is up to a millisecond off and the mark a third of a stop: once learned, neither
    matters."""
    for kind in ("focal-plane", "leaf"):
        pair = (world(kind, "both", 3), world(kind, "both", 4))
        shots, rig = shots_of(pair, np.random.default_rng(1)), rig_of(pair)
        taught = learn(shots, rig)
        assert all(one is not None for one in taught)
        blind = replace(
            shots, gate_open_s=shots.gate_open_s * np.nan, gate_close_s=shots.gate_close_s * np.nan
        )
        fresh, learned = mid_exposures(blind, rig), mid_exposures(blind, rig, taught)
        by_gate = mid_exposures(shots, rig)
        for before, after, gate in zip(fresh.bodies, learned.bodies, by_gate.bodies, strict=True):
            assert (before.how, after.how, gate.how) == ("sync", "sync", "gate")
            assert after.type_b_s < 0.5 * before.type_b_s
            assert_allclose(after.mid_s, gate.mid_s, atol=0.1 * MS)


def test_exposure_learned_at_one_speed_serves_the_contact_at_another() -> None:
    pair = (world("focal-plane", "both", 3), world("focal-plane", "both", 4))
    shots, rig = shots_of(pair, np.random.default_rng(1)), rig_of(pair)
    only_contact = tuple(
        None if one is None else replace(one, exposure_s=None, exposure_u_s=None) for one in learn(shots, rig)
    )
    blind = replace(shots, gate_open_s=shots.gate_open_s * np.nan, gate_close_s=shots.gate_close_s * np.nan)
    assert len(only_contact) == 2
    found = mid_exposures(blind, rig, (only_contact[0], only_contact[1]))
    names = {part.name for part in found.bodies[0].parts}
    assert "sync to open, as learned" in names
    assert "true exposure against the mark" in names


def test_a_shot_without_its_gate_edge_does_not_jump() -> None:
    pair = (world("focal-plane", "both", 5), world("focal-plane", "both", 6))
    shots, rig = shots_of(pair, np.random.default_rng(2)), rig_of(pair)
    whole = mid_exposures(shots, rig).bodies[0].mid_s
    opened, closed, lost = shots.gate_open_s.copy(), shots.gate_close_s.copy(), shots.lost.copy()
    # One edge; both of a shot whose edges the box could not keep.
    opened[4, 0] = np.nan
    opened[6, 0], closed[6, 0], lost[6] = np.nan, np.nan, 2
    holed = mid_exposures(replace(shots, gate_open_s=opened, gate_close_s=closed, lost=lost), rig).bodies[0]
    assert_allclose(holed.mid_s, whole, atol=0.1 * MS)
    assert not holed.black.any()


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"shutter.exposure": "1/500", "shutter.sync_speed": "1/125"}, "X suppressed at this speed"),
        ({"sync": "M"}, "M contact closes 10 to 20 ms before"),
        (
            {
                "shutter": {
                    "kind": "leaf",
                    "exposure": "1/500",
                    "opening": "4 ms",
                    "closing": "4 ms",
                }
            },
            "never open fully",
        ),
        (
            {
                "shutter": {
                    "kind": "electronic",
                    "exposure": "1/125",
                    "readout": "20 ms",
                    "sweep": "top to bottom",
                }
            },
            "lamp row",
        ),
    ],
)
def test_where_sync_cannot_tell_it_says_why(changes: dict[str, object], says: str) -> None:
    pair = (world("focal-plane", "sync", 7), world("focal-plane", "sync", 8))
    shots = shots_of(pair, np.random.default_rng(3))
    rig = rig_with({"bodies.a.sensors": {}} | {f"bodies.a.{key}": value for key, value in changes.items()})
    found = mid_exposures(shots, rig).bodies[0]
    assert found.how == "none"
    assert found.refusal is not None
    assert says in found.refusal
    assert rig.bodies.a.name in found.refusal


def test_a_contact_that_closes_far_too_early_looks_like_m() -> None:
    pair = (world("focal-plane", "both", 9, contact_off=-15.0), world("focal-plane", "both", 10))
    found = mid_exposures(shots_of(pair, np.random.default_rng(4)), rig_of(pair))
    assert any("M post" in said for said in found.bodies[0].complaints)
    assert not any("M post" in said for said in found.bodies[1].complaints)


def test_sync_alone_asks_for_one_agreement_with_a_gate_sensor() -> None:
    pair = (world("focal-plane", "sync", 11), world("focal-plane", "sync", 12))
    shots, rig = shots_of(pair, np.random.default_rng(5)), rig_of(pair)
    assert any("gate sensor" in said for said in mid_exposures(shots, rig).bodies[0].complaints)
    known = Learned(0, str(rig.bodies.a.shutter.exposure), sync_to_open_s=-3 * MS, sync_to_open_u_s=0.02 * MS)
    assert mid_exposures(shots, rig, (known, None)).bodies[0].complaints == ()


def test_a_slit_narrower_than_the_sensor_is_not_measurable() -> None:
    edge = EdgeModel(ramp_s=2 * MS, rise_s=2e-6, threshold=0.5)
    assert why_blind(3 * MS, edge, "body A (Lapwing)") is None
    said = why_blind(0.8 * MS, edge, "body A (Lapwing)")
    assert said is not None
    assert said.startswith("Not measurable, because")


def test_bandwidth_is_judged_by_total_open_time() -> None:
    """A 1 ms total open time needs 100 kHz: 3.5 us rise is just enough, 5 us is not."""
    assert why_too_slow(1 * MS, EdgeModel(0.0, 3.4e-6, 0.5), "body A") is None
    said = why_too_slow(1 * MS, EdgeModel(0.0, 5e-6, 0.5), "body A")
    assert said is not None
    assert "100 kHz" in said


@pytest.mark.parametrize("rise", [0.0, 1e-6, 3e-5, 1e-3])
@pytest.mark.parametrize("ramp", [0.0, 2e-5, 5e-4])
@pytest.mark.parametrize("threshold", [0.3, 0.5, 0.65])
def test_crossing_of_a_filtered_ramp(rise: float, ramp: float, threshold: float) -> None:
    """Against the same low pass run step by step (a recursive filter)."""
    edge = EdgeModel(ramp, rise, threshold)
    t = np.arange(-400, 48_000) * (max(ramp, rise, 1e-6) / 4000)
    light = np.clip(t / ramp, 0, 1) if ramp else (t >= 0).astype(float)
    keep = np.exp(-(t[1] - t[0]) / edge.constant_s) if rise else 0.0
    seen = signal.lfilter([1.0 - keep], [1.0, -keep], light)
    crossing = t[np.argmax(seen >= threshold)] - ramp / 2
    assert_allclose(late_when_opening_s(edge), crossing, atol=4 * (t[1] - t[0]))
    turned = EdgeModel(ramp, rise, 1 - threshold)
    assert_allclose(late_when_closing_s(edge), late_when_opening_s(turned), atol=1e-12)


def test_flicker_is_named_by_its_frequency() -> None:
    flashes = np.concatenate([np.arange(3) * 0.00833 + k for k in (0.06, 0.061, 0.0595)])
    assert flicker_hz(flashes.astype(np.float64), np.repeat(np.arange(3), 3)) == 120.0
    assert flicker_hz((np.arange(5) * 0.01 + 0.05).astype(np.float64), np.zeros(5, dtype=np.int64)) == 100.0
    assert flicker_hz(np.array([0.05, 0.06, 0.07]), np.arange(3)) is None


def test_exposure_in_stops() -> None:
    assert_allclose(stops(2**-6, 2**-7), 1.0)
    assert_allclose(effective_exposure_s(2 * MS, 5 * MS, 3 * MS), 7.5 * MS)


def test_a_frame_without_light_is_no_keeper_and_is_named() -> None:
    """The contact closed, the gate stayed dark: no time is told, and nobody says that the body did not answer."""
    pair = (world("focal-plane", "both", 3), world("focal-plane", "both", 4))
    shots, rig = shots_of(pair, np.random.default_rng(1)), rig_of(pair)
    opened, closed = shots.gate_open_s.copy(), shots.gate_close_s.copy()
    opened[[4, 7], 1], closed[[4, 7], 1] = np.nan, np.nan
    found = mid_exposures(replace(shots, gate_open_s=opened, gate_close_s=closed), rig)
    assert np.flatnonzero(found.black[:, 1]).tolist() == [4, 7]
    assert not found.black[:, 0].any()
    assert np.isnan(found.mid_s[[4, 7], 1]).all()
    (said,) = notice_black(found.black, np.isfinite(found.exposure_s), shots.number, ("Lapwing", "Bittern"))
    assert said.body == "B"
    assert f"{shots.number[4]}, {shots.number[7]}" in said.say
    assert "black frames." in said.say
    one = suggest_offset(np.random.default_rng(2).normal(0.02, 1e-3, 18), tolerance_s=5 * MS)
    assert_allclose(with_lost_keepers(one, 2).expected_keepers, 0.9 * one.expected_keepers)


def test_without_light_to_the_end_the_sensor_may_have_slipped() -> None:
    """Nothing tells a sensor that fell off from a shutter that runs closed: both are said, and no keeper is counted."""
    pair = (world("focal-plane", "both", 3), world("focal-plane", "both", 4))
    shots, rig = shots_of(pair, np.random.default_rng(1)), rig_of(pair)
    opened, closed = shots.gate_open_s.copy(), shots.gate_close_s.copy()
    opened[-4:, 1], closed[-4:, 1] = np.nan, np.nan
    found = mid_exposures(replace(shots, gate_open_s=opened, gate_close_s=closed), rig)
    assert np.isnan(found.mid_s[-4:, 1]).all()
    (said,) = notice_black(found.black, np.isfinite(found.exposure_s), shots.number, ("Lapwing", "Bittern"))
    assert "black frames, or the gate sensor slipped" in said.say


def test_a_spike_of_the_gate_sensor_is_no_exposure() -> None:
    """Light for tens of microseconds before the true exposure, as a relay's spark makes it."""
    pair = (world("focal-plane", "both", 3), world("focal-plane", "both", 4))
    for body, rules in zip(rig_of(pair).both, rig_of(pair).edge_rules, strict=True):
        assert rules.gate_shortest_s == max(20e-6, 0.1 * body.shutter.exposure.nominal_s)
        # 30 to 60 us before exposures as short as 1/4000 as well, by the light that lasts.
        assert rules.gate_held_s == pytest.approx(0.4 * body.shutter.exposure.nominal_s)
