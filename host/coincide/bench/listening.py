"""Watching into a session file: every edge kept, grouped into pairs, nothing fired."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from coincide.bench.firing import Bench, Firing, opened_session, session_header
from coincide.bench.person import PairKept, SeriesBegun, SeriesOver
from coincide.box.conduct import watch
from coincide.box.plans import WatchOutcome
from coincide.session.model import ShotRecord
from coincide.timing.running import RunningSeries


@dataclass(frozen=True, slots=True)
class Listened:
    """The session file and how the watch ended."""

    path: Path
    outcome: WatchOutcome


def listen(
    bench: Bench,
    path: Path,
    firing: Firing,
    *,
    gap_s: float,
    quiet_s: float | None,
) -> Listened:
    """Listen until `firing.pairs` groups (0: no end), `quiet_s` of quiet, or a wish to stop."""
    person = bench.person
    header = session_header(bench, firing, None)
    writer, earlier = opened_session(path, header)
    running = RunningSeries(header, earlier)
    person.tell("Listening. Fire the rig as you would in the field; Ctrl-C ends.")

    def kept(record: ShotRecord) -> None:
        person.progress(PairKept(record.shot, running.take(record)))

    with writer:
        person.progress(SeriesBegun(bench.rig, firing.pairs or None, running))
        try:
            if writer.found is not None:
                person.tell(writer.found)
            outcome = watch(
                bench.client,
                writer,
                kept,
                gap_s=gap_s,
                groups=firing.pairs or None,
                quiet_s=quiet_s,
                on_note=person.tell,
                stop=person.stop,
            )
        finally:
            person.progress(SeriesOver())
    return Listened(path, outcome)
