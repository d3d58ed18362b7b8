"""Runs that were broken off: what an earlier one left in `sessions`, said, and gone on with where that is right."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from coincide.bench.firing import Bench, session_path, session_paths
from coincide.bench.person import Person
from coincide.errors import BadInput
from coincide.rig.calibration import kept_in, name_in_files
from coincide.session.file import read_session
from coincide.session.unfinished import Begun, Unfinished

if TYPE_CHECKING:
    from coincide.rig.model import Rig
    from coincide.session.model import Plan, Session

PARTS = ("series", "verify")
AT_ONCE_MOST = 9


@dataclass(frozen=True, slots=True)
class CalibrationFiles:
    """Where a calibration measures and verifies; `note` is forgotten when it has come to its answer."""

    measured: Path
    fresh: Path
    note: Unfinished


def calibration_files(bench: Bench, pairs: tuple[int, int], *, anew: bool) -> CalibrationFiles:
    """New session files; or those of a calibration of this pair of shutter times that was broken off, unless `anew`.

    Says what it found. Gone on with is only what this box measured of this very rig, for as many pairs.
    """
    rig, rig_path = bench.rig, bench.rig_path
    client = bench.client
    measured, fresh = session_paths(client, rig_path, rig, PARTS)
    paths = (measured, fresh)
    note = _own_note(paths[0].parent, rig_path, rig, "calibrate", bench.person)
    left = note.read(len(PARTS))
    held = None if left is None else _held(note.folder, left)
    if left is not None and held is not None:
        said = (
            f"An earlier calibration at {rig.exposures[0]} (A) and {rig.exposures[1]} (B) was broken off: "
            f"{len(held[0].shot)} of {left.pairs[0]} pairs measured and {0 if held[1] is None else len(held[1].shot)} "
            f"of {left.pairs[1]} fresh ones are kept in {note.folder}."
        )
        against = _against(bench, pairs, left, held[0]) if not anew else "you asked for it"
        if against is None:
            bench.person.tell(
                f"{said} It goes on from there; 'coincide calibrate --anew' would begin from the start."
            )
            names = left.sessions
            paths = (note.folder / names[0], note.folder / names[1])
        else:
            bench.person.tell(f"{said} This one begins from the start: {against}.")
    note.note(Begun(pairs, (paths[0].name, paths[1].name)))
    return CalibrationFiles(*paths, note)


def fresh_file(bench: Bench, files: CalibrationFiles, pairs: tuple[int, int], plan: Plan) -> Path:
    """Where the fresh pairs go: on with those there are, if they were fired with the same offset."""
    held = _read(files.fresh)
    if held is None or np.all(held.plan_ns[:, :2] == (plan.delay_a_ns, plan.delay_b_ns)):
        return files.fresh
    bench.person.tell(
        f"{files.fresh.name} was fired with another offset: the fresh pairs begin from the start."
    )
    path = session_path(bench.client, bench.rig_path, bench.rig, PARTS[1])
    files.note.note(Begun(pairs, (files.measured.name, path.name)))
    return path


def begin_series(rig_path: Path, rig: Rig, path: Path, pairs: int, person: Person) -> Unfinished | None:
    """Remember a series in `sessions` until its end; say which one was broken off, if this is another."""
    if path.parent not in [kept_in(rig_path, simulated=apart) / "sessions" for apart in (False, True)]:
        return None
    note = _own_note(path.parent, rig_path, rig, "series", person)
    left = note.read(1)
    held = None if left is None else _held(note.folder, left)
    if left is not None and held is not None and left.sessions[0] != path.name:
        found = note.folder / left.sessions[0]
        person.tell(
            f"An earlier series was broken off: {found} holds {len(held[0].shot)} of {left.pairs[0]} pairs. "
            f"The same command with --out {found} goes on with it."
        )
    note.note(Begun((pairs,), (path.name,)))
    return note


def _own_note(folder: Path, rig_path: Path, rig: Rig, command: str, person: Person) -> Unfinished:
    """The note of a run that was broken off, else one that no run has. One that is going on is said."""
    name = f"{rig_path.stem}-{name_in_files(rig.exposures)}-{command}"
    held: list[Unfinished] = []
    others = 0
    for number in range(1, AT_ONCE_MOST + 1):
        note = Unfinished(folder, name if number == 1 else f"{name}-{number}")
        if held and not note.there:
            continue
        if note.hold():
            held.append(note)
        else:
            others += 1
    if not held:
        raise BadInput(f"{others} runs like this one are going on in {folder}: let one of them end first.")
    found = next((note for note in held if note.there), held[0])
    for note in held:
        if note is not found:
            note.leave()
    if others:
        person.tell(
            f"Another {command} at {rig.exposures[0]} (A) and {rig.exposures[1]} (B) is going on in {folder}: "
            "this one has files of its own."
        )
    return found


def _held(folder: Path, left: Begun) -> tuple[Session, Session | None] | None:
    """The sessions that were begun, the second where it came to that; None where the first holds nothing."""
    found = [_read(folder / name) for name in left.sessions]
    return None if found[0] is None else (found[0], found[-1] if len(found) > 1 else None)


def _read(path: Path) -> Session | None:
    try:
        return read_session(path)
    except BadInput:
        return None


def _against(bench: Bench, pairs: tuple[int, int], left: Begun, held: Session) -> str | None:
    """Why what was measured then does not belong to what is measured now, or None."""
    if left.pairs != pairs:
        return "it asked for other numbers of pairs"
    if held.header.rig_toml != bench.rig_toml:
        return "the rig file was changed since"
    if held.header.box.get("board", {}).get("uid") != bench.client.identity.uid:
        return "that was another box"
    if held.header.purpose != PARTS[0] or held.header.exposures != bench.rig.exposures:
        return "its file is of something else"
    return None
