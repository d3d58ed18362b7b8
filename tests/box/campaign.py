"""A series over a bad cable, with trouble on the way, and what must be true of it afterwards."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesOutcome, SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.spec import WorldSpec
from coincide.box.simulated.worlds import world_spec
from coincide.errors import BoxFailed
from coincide.session.model import Plan
from tests.box.cable.lossy import Cable, LossyPort
from tests.box.sinks import MemorySession, header_for
from tests.box.witness import Witness, first_full_tick, numbers

PLAN = Plan(lead_ns=200_000_000, window_ns=250_000_000)

CABLES = {
    "clean": Cable(),
    "flips": Cable(0.001, kinds=("flip",)),
    "drops": Cable(0.001, kinds=("drop",)),
    "doubles": Cable(0.001, kinds=("double",)),
    "single bytes, 0.4 %": Cable(0.004),
    "bursts, 1 %": Cable(0.01, burst=30),
    "bursts, 5 %": Cable(0.05, burst=80),
    "bursts, 20 %": Cable(0.20, burst=400),
    "stalls": Cable(stall_rate=0.05),
    "splits": Cable(split=True),
    "everything": Cable(0.01, burst=25, stall_rate=0.02, split=True),
}


GOES_ON_MOST = 40


@dataclass
class Campaign:
    port: LossyPort
    client: BoxClient
    session: MemorySession
    outcome: SeriesOutcome
    witness: Witness

    @property
    def messages(self) -> int:
        return self.client.talk.lines + self.port.writes


def conduct(
    cable: Cable,
    pairs: int,
    seed: int,
    *,
    trouble: str = "",
    spec: WorldSpec | None = None,
    every_s: float = 7.0,
    port: type[LossyPort] = LossyPort,
) -> Campaign:
    """A series over a bad cable, with `trouble` ('unplug' or 'reset') every so often."""
    inner = open_simulated(spec or world_spec("steady"), seed=seed)
    witness = Witness(inner.world)
    cabled = port(inner, cable, seed)
    client = connected(cabled)
    session = MemorySession(header_for(client))
    if trouble:
        _plan_trouble(cabled, trouble, seed, every_s)
    plan = SeriesPlan(pairs, PLAN, interval_s=0.8)
    outcome = run_series(client, session, plan)
    for _ in range(GOES_ON_MOST):
        if outcome.ending != "box resets":
            break
        # Two resets at one pair, as chance will have it, end a series: the person gives the same command again.
        outcome = run_series(client, session, plan)
    return Campaign(cabled, client, session, outcome, witness)


def connected(port: LossyPort) -> BoxClient:
    """As a person does: try again when the first words did not get through."""
    for _ in range(60):
        try:
            return BoxClient(port)
        except BoxFailed:
            continue
    raise AssertionError("no introduction got through")


def _plan_trouble(port: LossyPort, trouble: str, seed: int, every_s: float) -> None:
    random = Random(f"trouble {seed}")
    machine = port.machine

    def strike() -> None:
        if machine.link.plugged:
            if trouble == "reset":
                machine.reset("watchdog")
            else:
                machine.link.unplug()
                machine.world.clock.after_s(random.uniform(0.1, 4.0), machine.link.plug)
        machine.world.clock.after_s(random.uniform(0.3, 2.0) * every_s, strike)

    machine.world.clock.after_s(random.uniform(0.3, 2.0) * every_s, strike)


def assert_nothing_lost_wrong_or_twice(campaign: Campaign, pairs: int) -> None:
    records, truth = campaign.session.records, campaign.port.inner.truth
    assert campaign.outcome.complete, campaign.outcome
    assert numbers(records) == list(range(1, pairs + 1))
    assert all(record.lost == 0 for record in records)
    assert all(campaign.witness.saw(record) for record in records)
    if campaign.witness.resets_s:
        return
    # What the box fired is what the file has: the same presses at the same ticks, in the same order.
    assert [first_full_tick(record) for record in records] == [real.reference_tick for real in truth]
