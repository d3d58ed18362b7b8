"""Each thing that goes wrong, end to end: a sentence that names the body, and nothing measured lost."""

from __future__ import annotations

import itertools
import re
from collections import Counter

import pytest

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series, watch
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.bodies.photographs import photographs
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.spec import WorldSpec
from coincide.box.simulated.worlds import WORLDS, world_names
from coincide.errors import BoxFailed
from coincide.session.model import Plan, ShotRecord
from coincide_firmware.app import pins
from coincide_firmware.app.pins import LAMPS
from tests.box.sinks import MemorySession, Ran, header_for, run
from tests.box.witness import first_full_tick, numbers

A_SERIES = [world for world in WORLDS if not world.hand.cable_presses and not world.loopback]


def closings(record: ShotRecord, channel: int) -> list[int]:
    return [
        tick
        for its, level, tick in zip(record.channel, record.level, record.tick, strict=True)
        if its == channel and level
    ]


def said(ran: Ran) -> str:
    return "\n".join(ran.outcome.sentences)


@pytest.mark.parametrize("world", A_SERIES, ids=lambda world: world.name)
def test_every_world_ends_with_everything_it_fired_on_file(world: WorldSpec) -> None:
    ran = run(world, 10, manual_wind=world.hand.winds)
    records, truth = ran.session.records, ran.port.truth
    assert numbers(records) == list(range(1, len(truth) + 1))
    assert ran.outcome.in_file == len(truth)
    for record, real in zip(records, truth, strict=True):
        if not record.lost:
            assert first_full_tick(record) == real.reference_tick
    assert ran.port.world.releases.closed_mask == 0


def test_missed_fires_are_named() -> None:
    ran = run("missed fires", 13)
    assert ran.outcome.complete
    assert ran.outcome.silent == (0, 3)
    for shot in (3, 11, 12):
        assert f"body B (Bittern) did not answer at pair {shot}" in said(ran)
    assert "Lapwing" not in said(ran)


def test_a_body_that_stops_after_shot_7_ends_the_series_with_what_to_try() -> None:
    ran = run("stops after shot 7", 20)
    assert ran.outcome.ending == "silent body"
    assert numbers(ran.session.records) == list(range(1, 11))
    assert "body B (Bittern) answered 7 pairs and then 3 in a row no more: check battery" in said(ran)


def test_a_body_that_never_answers_is_told_apart() -> None:
    ran = run("stops at once", 20)
    assert ran.outcome.ending == "silent body"
    assert "body A (Lapwing) has not answered once in 3 pairs: check that its release plug" in said(ran)


def test_an_extra_trigger_is_named_and_kept() -> None:
    ran = run("extra trigger", 8)
    assert ran.outcome.complete
    assert "body A (Lapwing) fired twice at pair 5" in said(ran)
    assert len(closings(ran.session.records[4], pins.GATE_A1)) == 2
    assert said(ran).count("fired twice") == 1


def test_forgotten_winding_reads_as_such() -> None:
    ran = run("forgot to wind", 8, manual_wind=True)
    assert ran.outcome.complete
    assert said(ran) == "body B (Bittern) did not answer at pair 4: probably it was not wound."


def test_winding_by_hand_is_waited_for_and_irregular() -> None:
    ran = run("wound by hand", 12, manual_wind=True, interval_s=0.0)
    assert ran.outcome.complete
    assert all(all(real.fired) for real in ran.port.truth)
    starts = [real.reference_s for real in ran.port.truth]
    rests = [later - earlier for earlier, later in itertools.pairwise(starts)]
    assert max(rests) > 1.3 * min(rests)
    assert ran.client.settings()["values"]["manual_wind"] == 1


def test_the_person_may_say_wound_at_the_keyboard() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    asked: list[float] = []

    def enter() -> bool:
        asked.append(port.now_s())
        return len(asked) % 8 == 0

    notes: list[str] = []
    plan = SeriesPlan(3, manual_wind=True)
    outcome = run_series(client, session, plan, wound=enter, on_prompt=notes.append)
    assert outcome.complete
    assert len(notes) == 3
    assert notes[0].startswith("Pair 1: wind both bodies")


def test_nobody_winds() -> None:
    ran = run("steady", 3, manual_wind=True, wound_patience_s=20.0)
    assert ran.outcome.ending == "not wound"
    assert "Nobody said 'wound' for 20 s before pair 1" in said(ran)
    assert ran.port.truth == ()


@pytest.mark.parametrize("world", ["interlock opens", "interlock flickers", "interlock open"])
def test_an_open_interlock_ends_the_series_and_it_goes_on_later(world: str) -> None:
    ran = run(world, 10)
    before = 0 if world == "interlock open" else 5
    assert ran.outcome.ending == "interlock"
    assert ran.outcome.in_file == len(ran.port.truth) == before
    assert re.search(rf"The interlock (is open|was opened) before pair {before + 1}: close it", said(ran))
    ran.port.world.close_interlock()
    again = run_series(ran.client, ran.session, SeriesPlan(10))
    assert again.complete
    assert numbers(ran.session.records) == list(range(1, 11))


def test_an_interlock_that_opens_while_a_release_is_closed() -> None:
    port = open_simulated("steady")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    port.world.clock.after_s(0.350, lambda: port.world.open_interlock(1.0))
    outcome = run_series(client, session, SeriesPlan(3))
    assert outcome.ending == "interlock"
    assert "Pair 1 was cut short: interlock." in outcome.sentences
    assert numbers(session.records) == [1]


@pytest.mark.parametrize(
    ("world", "swapped"),
    [
        ("steady", None),
        ("no gate sensors", None),
        ("crosstalk", None),
        ("swapped releases", "the releases of A and B are swapped"),
        ("swapped sync", "the sync leads of A and B are swapped"),
    ],
)
def test_a_pair_fired_far_apart_shows_swapped_plugs(world: str, swapped: str | None) -> None:
    ran = run(world, 1, plan=Plan(delay_b_ns=450_000_000))
    if swapped is None:
        assert not ran.outcome.sentences
    else:
        assert ran.outcome.sentences[0].startswith("body B (Bittern)")
        assert swapped in ran.outcome.sentences[0]


def test_a_swap_shows_in_a_series_whose_offset_is_longer_than_the_lag() -> None:
    ran = run("swapped releases", 3, plan=Plan(delay_b_ns=400_000_000))
    assert said(ran).count("swapped") == 1


def test_bounces_flicks_and_suppressed_contacts_are_all_on_file() -> None:
    bouncing = run("bouncing contacts", 10)
    assert max(len(closings(record, pins.SYNC_A)) for record in bouncing.session.records) > 3
    for record in run("mirror slap", 5).session.records:
        flick, contact = closings(record, pins.SYNC_A)[:2]
        assert (contact - flick) / 125e6 > 0.020
    for record in run("x suppressed", 5).session.records:
        assert closings(record, pins.SYNC_B) == []
        assert len(closings(record, pins.GATE_B1)) == 1
    for record in run("blades never open", 5).session.records:
        assert closings(record, pins.SYNC_A) == []
    for record in run("slit narrower than the sensor", 5).session.records:
        assert closings(record, pins.GATE_A1) == []
        assert len(closings(record, pins.SYNC_A)) >= 1


def test_lost_edges_are_counted_and_said() -> None:
    ran = run("slow box", 10)
    lost = sum(record.lost for record in ran.session.records)
    assert lost > 0
    assert "The box missed" in said(ran)
    assert "did not answer" not in said(ran)


def test_hot_solenoids_slow_down() -> None:
    truth = run("hot solenoids", 60, interval_s=1.7).port.truth
    early = sum(real.lag_s[1] for real in truth[:8]) / 8
    late = sum(real.lag_s[1] for real in truth[-8:]) / 8
    assert late - early > 0.002


def test_crosstalk_touches_the_other_bodys_line() -> None:
    ran = run("crosstalk", 10)
    for record in ran.session.records:
        assert (closings(record, pins.SYNC_B)[0] - first_full_tick(record)) / 125e6 < 0.001


def test_bodies_without_any_sensor_are_fired_without_complaint() -> None:
    ran = run("electronic shutters", 5, senses=(False, False))
    assert ran.outcome.complete
    assert ran.outcome.sentences == ()


def test_lamps_of_the_optical_route_tell_mid_exposure() -> None:
    port = open_simulated("electronic shutters")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    client.lamps(LAMPS, 1_000_000, 120)
    run_series(client, session, SeriesPlan(1, senses=(False, False)))
    (real,) = port.truth
    spans = [frame.lamps for frame in photographs(port.world, real)]
    assert all(span is not None for span in spans)
    middles = [first + (last - first) % LAMPS / 2 for first, last in (span for span in spans if span)]
    # A frame says which lamp burned, not in which pass of the row.
    apart_ms = middles[1] - middles[0] - real.skew_s * 1000
    assert (apart_ms + LAMPS / 2) % LAMPS - LAMPS / 2 == pytest.approx(0, abs=1.0)


def test_watching_a_twin_cable_keeps_every_group() -> None:
    port = open_simulated("twin cable")
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    outcome = watch(client, session, quiet_s=20.0)
    assert outcome.kept == 40 == len(port.truth)
    for record, real in zip(session.records, port.truth, strict=True):
        assert record.plan is None
        assert not closings(record, pins.FULL_A)
        gate = (closings(record, pins.GATE_A1)[0], closings(record, pins.GATE_B1)[0])
        opened = [mid - exposure / 2 for mid, exposure in zip(real.mid_s, real.exposure_s, strict=True)]
        assert (gate[1] - gate[0]) / 125e6 == pytest.approx(opened[1] - opened[0], abs=2e-6)
    assert not client.status().watching


def test_the_zero_check_loop_gives_the_channel_delays() -> None:
    port = open_simulated("loopback both")
    client = BoxClient(port)
    client.arm(5000)
    client.pulse(1, 20_000_000)
    edges: dict[int, int] = {}
    while True:
        event = client.event(2.0)
        assert event is not None
        if event.kind == "edges":
            tick = event.fields["base"]
            codes = event.fields["e"]
            for code, delta in zip(codes[::2], codes[1::2], strict=True):
                tick += delta
                edges.setdefault(code, tick)
        client.ack(event.seq)
        if event.kind == "shot":
            break
    box = port.world.spec.box
    delay_s = (edges[2 * pins.SYNC_B + 1] - edges[2 * pins.SYNC_A + 1]) / 125e6
    assert delay_s == pytest.approx(box.input_on_s[1] - box.input_on_s[0], abs=16e-9)
    looped_s = (edges[2 * pins.SYNC_A + 1] - edges[2 * pins.FULL_A + 1]) / 125e6
    assert looped_s == pytest.approx(box.isolator_s[0] + box.input_on_s[0], abs=16e-9)


def test_a_failure_inside_a_series_leaves_no_release_closed() -> None:
    class Full(MemorySession):
        def append(self, record: ShotRecord) -> None:
            raise BoxFailed("the disk is full")

    port = open_simulated("steady")
    client = BoxClient(port)
    with pytest.raises(BoxFailed, match="disk is full"):
        run_series(client, Full(header_for(client)), SeriesPlan(3))
    assert client.status().armed_ms == 0
    assert port.world.releases.closed_mask == 0


def test_names_of_worlds_are_unique() -> None:
    assert max(Counter(world_names()).values()) == 1
