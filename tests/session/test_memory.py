"""Records made into a session and back again are the same records."""

from __future__ import annotations

import numpy as np

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.session.memory import records_of, session_from_records
from tests.box.sinks import MemorySession, header_for


def test_there_and_back() -> None:
    client = BoxClient(open_simulated("missed fires", seed=2))
    kept = MemorySession(header_for(client))
    run_series(client, kept, SeriesPlan(6))
    session = session_from_records(kept.header, kept.records)
    back = records_of(session, 100)
    assert [(one.shot, one.plan, one.channel, one.level, one.tick, one.lost) for one in back] == [
        (one.shot, one.plan, one.channel, one.level, one.tick, one.lost) for one in kept.records
    ]
    assert records_of(session, 2) == back[-2:]
    assert records_of(session, 0) == ()
    again = session_from_records(kept.header, back)
    assert np.array_equal(again.edges.tick, session.edges.tick)
    assert np.array_equal(again.edges.row, session.edges.row)
