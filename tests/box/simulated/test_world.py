"""Truth and edges of whole pairs: what the world says happened and what the box was shown agree."""

from __future__ import annotations

import pytest

from coincide.box.simulated.random_worlds import BEHAVIOURS, KINDS, random_world
from coincide.box.simulated.sampler import Sampler
from coincide.box.simulated.worlds import world_spec
from coincide.errors import BadInput
from coincide.session.model import Plan, ShotRecord
from coincide_firmware.app import pins
from tests.box.sinks import run
from tests.box.witness import first_full_tick


def edge_s(record: ShotRecord, channel: int, level: int) -> float:
    """First edge of a channel to a level, seconds after the earlier full-press."""
    origin = first_full_tick(record)
    for its_channel, its_level, tick in zip(record.channel, record.level, record.tick, strict=True):
        if (its_channel, its_level) == (channel, level):
            return (tick - origin) / 125e6
    raise AssertionError(f"no edge {channel} {level}")


def test_gate_edges_give_the_true_mid_exposure_but_for_the_delays_of_the_inputs() -> None:
    ran = run("steady", 10, plan=Plan(delay_a_ns=9_000_000))
    box = ran.port.world.spec.box
    for record, real in zip(ran.session.records, ran.port.truth, strict=True):
        for body, gate in enumerate((pins.GATE_A1, pins.GATE_B1)):
            late_s = (box.input_on_s[body] + box.input_off_s[body]) / 2
            mid_s = (edge_s(record, gate, 1) + edge_s(record, gate, 0)) / 2
            assert mid_s - late_s == pytest.approx(real.mid_s[body], abs=20e-9)
        assert real.offset_s == pytest.approx(0.009, abs=1e-9)
        assert real.skew_without_offset_s == pytest.approx(real.skew_s + 0.009, abs=1e-9)
        assert edge_s(record, pins.FULL_A, 1) == pytest.approx(0.009, abs=20e-9)


def test_sync_edges_lie_half_a_travel_after_the_centre_opens() -> None:
    ran = run("steady", 10)
    for record, real in zip(ran.session.records, ran.port.truth, strict=True):
        for body, channel in enumerate((pins.SYNC_A, pins.SYNC_B)):
            spec = ran.port.world.spec.bodies[body]
            opened_s = real.mid_s[body] - real.exposure_s[body] / 2
            expected = opened_s + spec.shutter.travel_s / 2 + spec.contact.placement_s
            expected += ran.port.world.spec.box.input_on_s[body]
            assert edge_s(record, channel, 1) == pytest.approx(expected, abs=20e-9)


def test_lag_counts_from_the_isolator() -> None:
    ran = run("steady", 3)
    for real in ran.port.truth:
        for body in (0, 1):
            assert real.isolator_s[body] == pytest.approx(ran.port.world.spec.box.isolator_s[body], abs=1e-8)
            assert real.mid_s[body] - real.lag_s[body] == pytest.approx(real.isolator_s[body], abs=1e-8)


def test_an_offset_moves_the_body_it_holds_back() -> None:
    """The same dice with and without: the skew moves by the offset to a tick."""
    without = run("steady", 5, seed=9).port.truth
    held = run("steady", 5, seed=9, plan=Plan(delay_a_ns=12_000_000)).port.truth
    for before, after in zip(without, held, strict=True):
        assert after.skew_s == pytest.approx(before.skew_s - 0.012, abs=1e-6)


def test_a_seed_is_a_world() -> None:
    first, again, other = (run("ennerby fen", 8, seed=seed) for seed in (5, 5, 6))
    assert [r.tick for r in first.session.records] == [r.tick for r in again.session.records]
    assert first.port.truth == again.port.truth
    assert [r.tick for r in first.session.records] != [r.tick for r in other.session.records]


def test_the_demo_world_has_its_story() -> None:
    truth = run("ennerby fen", 40).port.truth
    skews = sorted(real.skew_s for real in truth[1:])
    assert 0.016 < skews[len(skews) // 2] < 0.020
    assert truth[0].skew_s > skews[-1] + 0.002  # the first shot dawdles
    assert skews[-1] - skews[0] < 0.006


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("behaviour", BEHAVIOURS)
def test_random_worlds_answer_in_every_pair(kind: str, behaviour: str) -> None:
    for seed in range(4):
        spec = random_world(seed, kind=kind, behaviour=behaviour)  # type: ignore[arg-type]
        assert spec == random_world(seed, kind=kind, behaviour=behaviour)  # type: ignore[arg-type]
        ran = run(spec, 6, seed=seed)
        assert ran.outcome.complete
        assert ran.outcome.silent == (0, 0)
        assert all(all(real.fired) for real in ran.port.truth)


def test_an_unknown_world_names_those_there_are() -> None:
    with pytest.raises(BadInput, match="ennerby fen"):
        world_spec("atlantis")
    assert world_spec(" Ennerby  FEN ").name == "ennerby fen"


def test_the_dials_turn() -> None:
    spec = world_spec("steady").with_exposures(1 / 30, None)
    assert spec.body_a.shutter.exposure_s == 1 / 30
    assert spec.body_b.shutter.exposure_s == world_spec("steady").body_b.shutter.exposure_s


def test_the_sampler_quantises_keeps_order_and_counts_what_a_full_ring_loses() -> None:
    sampler = Sampler(ring_edges=4)
    for channel in range(3):
        sampler.drive(channel, 101, True)
    seen: list[tuple[int, int, int]] = []
    assert sampler.read(100, lambda *edge: seen.append(edge)) == 0
    assert seen == []
    assert sampler.read(101, lambda *edge: seen.append(edge)) == 0
    assert seen == [(0, 1, 100), (1, 1, 100), (2, 1, 100)]
    seen.clear()
    for k in range(6):
        sampler.drive(5, 200 + 10 * k, k % 2 == 0)
    assert sampler.read(1000, lambda *edge: seen.append(edge)) == 2
    assert [tick for _, _, tick in seen] == [220, 230, 240, 250]


def test_a_line_held_closed_by_two_is_closed_until_both_let_go() -> None:
    sampler = Sampler(16)
    for tick, closes in ((10, True), (20, True), (30, False), (40, False)):
        sampler.drive(4, tick, closes)
    seen: list[tuple[int, int, int]] = []
    sampler.read(100, lambda *edge: seen.append(edge))
    assert seen == [(4, 1, 10), (4, 0, 40)]
