"""A series fired, or a watch kept, into a session file and worked out from it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.bench.firing import Fired, Firing, bench, confirm_checklist, fire, session_path
from coincide.bench.listening import Listened, listen
from coincide.bench.opening.broken_off import begin_series
from coincide.bench.person import Person
from coincide.rig.file import load_rig
from coincide.timing.analysis import Analysis, analyse_file

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient


@dataclass(frozen=True, slots=True)
class SeriesDone:
    """The session, how it ended, what it shows, and the earlier session it is compared with, or None."""

    path: Path
    fired: Fired
    analysis: Analysis
    compared_with: Analysis | None = None

    @property
    def complete(self) -> bool:
        """Whether all pairs were fired."""
        return self.fired.outcome.complete


@dataclass(frozen=True, slots=True)
class WatchDone:
    """The session, how it ended, what it shows, and the earlier session it is compared with, or None."""

    path: Path
    listened: Listened
    analysis: Analysis
    compared_with: Analysis | None = None


@dataclass(frozen=True, slots=True)
class Into:
    """Where a series or watch goes: `path`, gone on with if it is there, or None for a new file beside the rig; and an
    earlier session to compare it with."""

    path: Path | None = None
    other: Path | None = None


def measure_series(
    client: BoxClient,
    rig_path: Path,
    pairs: int,
    offset_s: float,
    person: Person,
    *,
    into: Into,
    confirmed: bool,
) -> SeriesDone:
    """Fire `pairs` with a signed offset on (positive holds A back)."""
    rig = load_rig(rig_path)
    items = confirm_checklist(rig, person, simulated=client.identity.simulated, confirmed=confirmed)
    path = into.path or session_path(client, rig_path, rig, "series")
    note = begin_series(rig_path, rig, path, pairs, person)
    try:
        fired = fire(
            bench(client, rig_path, person), path, Firing("series", pairs, offset_s, confirmed=items)
        )
        if note is not None and fired.outcome.complete:
            note.forget()
    finally:
        if note is not None:
            note.leave()
    other = None if into.other is None else analyse_file(into.other)
    return SeriesDone(path, fired, analyse_file(path), other)


def keep_watch(
    client: BoxClient,
    rig_path: Path,
    pairs: int | None,
    person: Person,
    *,
    gap_s: float,
    quiet_s: float | None,
    into: Into,
    confirmed: bool,
) -> WatchDone:
    """Listen until `pairs` (None: no end) have come, or `quiet_s` pass without one. `gap_s` of quiet ends a pair."""
    rig = load_rig(rig_path)
    items = confirm_checklist(rig, person, simulated=client.identity.simulated, confirmed=confirmed)
    path = into.path or session_path(client, rig_path, rig, "watch")
    firing = Firing("watch", pairs or 0, confirmed=items)
    listened = listen(bench(client, rig_path, person), path, firing, gap_s=gap_s, quiet_s=quiet_s)
    other = None if into.other is None else analyse_file(into.other)
    return WatchDone(path, listened, analyse_file(path), other)
