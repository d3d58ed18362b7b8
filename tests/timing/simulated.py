"""A series fired on the simulated box and measured, with what really happened beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan, offset_plan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.spec import WorldSpec
from coincide.box.simulated.truth import ShotTruth
from coincide.rig.file import parse_rig
from coincide.rig.plan import rig_plan
from coincide.session.memory import session_from_records
from coincide.session.model import Header
from coincide.timing.analysis import Analysis, analyse
from tests.box.sinks import MemorySession
from tests.rig.rigs import text_with

# The inputs' own delays on the simulated box, as a zero check would have found them.
INPUTS = {"delay_on": "3.5 us", "delay_off": "47 us"}


@dataclass(frozen=True)
class Fired:
    analysis: Analysis
    truth: tuple[ShotTruth, ...]


def fired(
    world: WorldSpec,
    changes: dict[str, object],
    *,
    pairs: int = 20,
    seed: int = 1,
    known: dict[str, Any] | None = None,
) -> Fired:
    """`pairs` pairs in `world`, measured with the rig of the template and these changes."""
    port = open_simulated(world, seed=seed)
    client = BoxClient(port)
    rig_toml = text_with(changes)
    rig = parse_rig(rig_toml)
    identity = client.identity
    header = Header(
        f"2031-05-04T11:{seed % 60:02d}:00Z",
        "series",
        identity.tick_hz,
        identity.channels,
        rig_toml,
        {},
        rig.exposures,
        known=known or {},
    )
    kept = MemorySession(header)
    assert run_series(client, kept, SeriesPlan(pairs, offset_plan(0.0, identity, rig_plan(rig)))).complete
    return Fired(analyse(session_from_records(header, kept.records)), port.truth)
