"""A session kept in memory, for tests of what reaches it."""

from __future__ import annotations

from dataclasses import dataclass, field

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesOutcome, SeriesPlan
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.box.simulated.spec import WorldSpec
from coincide.session.model import Header, Remark, ShotRecord

NAMES = ("body A (Lapwing)", "body B (Bittern)")


@dataclass
class MemorySession:
    """What SessionWriter writes, in lists. `before_append` may fail as a disk does."""

    header: Header
    last_shot: int = 0
    last_tick: int = 0
    records: list[ShotRecord] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)

    def append(self, record: ShotRecord) -> None:
        self.records.append(record)
        self.last_shot = record.shot
        self.last_tick = max((self.last_tick, *record.tick))

    def remark(self, remark: Remark) -> None:
        self.remarks.append(remark)


def header_for(client: BoxClient, created: str = "2031-05-04T10:00:00Z") -> Header:
    identity = client.identity
    return Header(created, "series", identity.tick_hz, identity.channels, "", identity.raw, ("1/125", "1/60"))


@dataclass
class Ran:
    port: SimulatedPort
    client: BoxClient
    session: MemorySession
    outcome: SeriesOutcome


def run(world: str | WorldSpec, pairs: int, *, seed: int = 1, **plan: object) -> Ran:
    """A series in a simulated world, kept in memory."""
    port = open_simulated(world, seed=seed)
    client = BoxClient(port)
    session = MemorySession(header_for(client))
    outcome = run_series(client, session, SeriesPlan(pairs, names=NAMES, **plan))  # type: ignore[arg-type]
    return Ran(port, client, session, outcome)
