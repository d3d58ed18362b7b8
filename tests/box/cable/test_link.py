"""The link campaign: no shot wrong, none lost that the box saw, none counted twice."""

from __future__ import annotations

import pytest

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series, watch
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.spec import BoxSpec, WorldSpec
from coincide.box.simulated.worlds import world_spec
from coincide.errors import BoxFailed
from tests.box.cable.lossy import Cable, LossyPort
from tests.box.campaign import CABLES, assert_nothing_lost_wrong_or_twice, conduct, connected
from tests.box.sinks import MemorySession, header_for
from tests.box.witness import Witness, first_full_tick, numbers


@pytest.mark.parametrize("name", CABLES)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_bad_cable_costs_time_and_no_pair(name: str, seed: int) -> None:
    pairs = 12
    campaign = conduct(CABLES[name], pairs, seed)
    if CABLES[name].rate:
        assert campaign.port.damaged > 0
    assert_nothing_lost_wrong_or_twice(campaign, pairs)


@pytest.mark.parametrize("seed", range(4))
def test_unplugged_and_replugged_under_a_new_name(seed: int) -> None:
    campaign = conduct(CABLES["bursts, 1 %"], 25, seed, trouble="unplug")
    assert campaign.port.machine.link.connections > 1
    assert campaign.port.name != campaign.port.inner.name
    assert_nothing_lost_wrong_or_twice(campaign, 25)


@pytest.mark.parametrize("seed", range(4))
def test_a_box_that_resets_mid_series(seed: int) -> None:
    campaign = conduct(CABLES["clean"], 25, seed, trouble="reset")
    assert_nothing_lost_wrong_or_twice(campaign, 25)
    assert "box restarted" in {remark.kind for remark in campaign.session.remarks}
    # A pair that was fired and is not in the file was cut off by a reset before the box could tell.
    references = {record.tick[-1] - record.tick[0] for record in campaign.session.records}
    assert references
    cut_off = len(campaign.port.inner.truth) - len(campaign.session.records)
    assert 0 <= cut_off <= len(campaign.witness.resets_s)
    # Ticks go on through a restart, as the host's clock did.
    ticks = [record.tick[0] for record in campaign.session.records]
    assert ticks == sorted(ticks)
    assert (ticks[-1] - ticks[0]) / 125e6 == pytest.approx(campaign.port.now_s() - 1.0, rel=0.2)


@pytest.mark.parametrize("name", ["bursts, 1 %", "single bytes, 0.4 %", "stalls", "splits"])
def test_watching_over_a_bad_cable_keeps_every_group(name: str) -> None:
    for noise in range(2, 12):
        inner = open_simulated("twin cable", seed=2)
        witness = Witness(inner.world)
        port = LossyPort(inner, CABLES[name], noise)
        client = connected(port)
        session = MemorySession(header_for(client))
        # Only a host that got through in time watches when the cable is first pressed: what is lost before is no loss.
        if (
            port.now_s() < 1.0
        ):  # the cable is pressed 3.4 s after the start, and the request to watch may be lost too
            break
    outcome = watch(client, session, quiet_s=30.0)
    assert outcome.kept == len(inner.truth) == 40
    assert numbers(session.records) == list(range(1, 41))
    assert all(witness.saw(record) and record.lost == 0 for record in session.records)


def test_a_host_slower_than_the_box_and_a_box_slower_than_the_host() -> None:
    slow_line = WorldSpec(
        "slow line",
        "300 bytes a second",
        *world_spec("steady").bodies,
        box=BoxSpec(bytes_per_s=600.0, write_room_bytes=64),
    )
    assert_nothing_lost_wrong_or_twice(conduct(Cable(), 6, 1, spec=slow_line), 6)
    slow_box = WorldSpec("slow box", "30 ms a turn", *world_spec("steady").bodies, box=BoxSpec(step_s=0.030))
    assert_nothing_lost_wrong_or_twice(conduct(Cable(), 6, 1, spec=slow_box), 6)
    assert_nothing_lost_wrong_or_twice(conduct(Cable(stall_rate=0.3), 6, 1), 6)


def test_a_cable_that_lets_nothing_through_is_one_sentence() -> None:
    inner = open_simulated("steady")
    with pytest.raises(BoxFailed, match="answers on the simulated box"):
        BoxClient(LossyPort(inner, Cable(0.2), 1))
    assert inner.now_s() < 3.0


class ShortLinesOnly(LossyPort):
    """A cable on which no long line survives."""

    def read(self, timeout_s: float) -> bytes:
        lines = self.inner.read(timeout_s).split(b"\n")
        return b"\n".join(b"#" if b'"edges"' in line else line for line in lines)


def test_a_cable_that_lets_only_short_lines_through_ends_in_a_sentence() -> None:
    port = ShortLinesOnly(open_simulated("steady"), Cable(), 1)
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    with pytest.raises(BoxFailed, match="does not come through whole"):
        run_series(client, session, SeriesPlan(2))
    assert session.records == []
    # Another cable, and the pair that was fired is there.
    client = BoxClient(port.inner)
    assert run_series(client, session, SeriesPlan(2)).complete
    assert [first_full_tick(record) for record in session.records] == [
        real.reference_tick for real in port.inner.truth
    ]
