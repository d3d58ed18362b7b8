"""A box driven from a script: the procedures of the command line, with nobody there unless a person is given."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from coincide.bench import calibration, readiness
from coincide.bench.calibration import Calibrated
from coincide.bench.firing import confirm_checklist
from coincide.bench.opening import box as opening
from coincide.bench.person import Person, Progress, Unattended
from coincide.bench.readiness import Judged
from coincide.bench.series import Into, SeriesDone, WatchDone, keep_watch, measure_series
from coincide.box.cable.client import BoxClient
from coincide.rig.file import load_rig

RigPath = str | os.PathLike[str]
__all__ = [
    "Calibrated",
    "Judged",
    "SeriesDone",
    "WatchDone",
    "calibrate",
    "open_box",
    "ready",
    "series",
    "watch",
]


def nobody(on_progress: Callable[[Progress], None] | None) -> Person:
    """Nobody at the bench; `on_progress` is told how it goes."""
    return Unattended() if on_progress is None else Unattended(on_progress)


@contextmanager
def open_box(
    port: str | None = None,
    *,
    rig: RigPath | None = None,
    world: str | None = None,
    seed: int = 1,
    person: Person | None = None,
) -> Iterator[BoxClient]:
    """The box on `port`; without one the box that is plugged in; where there is none, a simulated one.

    `box.identity.simulated` says whether it is. A simulated box plays `world`, its bodies dressed like the file `rig`;
    naming a world asks for it. A real box is opened only where the cautions were acknowledged on this machine. Closed
    at the end, its outputs open. Raises BoxFailed, BadInput.
    """
    where = opening.Where(port, world, seed)
    path = None if rig is None else Path(rig)
    dressed = None if path is None else load_rig(path)
    with opening.opened_box(dressed, where, person or Unattended(), path) as box:
        yield box


def series(
    box: BoxClient,
    rig: RigPath = "rig.toml",
    *,
    pairs: int = 30,
    offset_s: float = 0.0,
    out: RigPath | None = None,
    confirmed: bool = False,
    on_progress: Callable[[Progress], None] | None = None,
    person: Person | None = None,
) -> SeriesDone:
    """Fire `pairs` with a signed offset on (positive holds A back): `.path`, `.analysis`, `.complete`.

    `out`: the session file, gone on with if it is there. `confirmed`: every item of the check list is done, which a
    real box needs where no person is there to say so. Ctrl-C ends it between
    pairs, everything kept; a second one at once.
    """
    who = person or nobody(on_progress)
    into = Into(None if out is None else Path(out))
    return measure_series(box, Path(rig), pairs, offset_s, who, into=into, confirmed=confirmed)


def watch(
    box: BoxClient,
    rig: RigPath = "rig.toml",
    *,
    pairs: int | None = None,
    gap_s: float = 0.5,
    quiet_s: float | None = 60.0,
    out: RigPath | None = None,
    confirmed: bool = False,
    on_progress: Callable[[Progress], None] | None = None,
    person: Person | None = None,
) -> WatchDone:
    """Listen without firing until `pairs` have come or `quiet_s` pass without one; `gap_s` of quiet ends a pair."""
    who = person or nobody(on_progress)
    into = Into(None if out is None else Path(out))
    return keep_watch(
        box, Path(rig), pairs, who, gap_s=gap_s, quiet_s=quiet_s, into=into, confirmed=confirmed
    )


def calibrate(
    box: BoxClient,
    rig: RigPath = "rig.toml",
    *,
    pairs: int = 40,
    fresh_pairs: int = 30,
    anew: bool = False,
    enough: bool = False,
    confirmed: bool = False,
    on_progress: Callable[[Progress], None] | None = None,
    person: Person | None = None,
) -> Calibrated:
    """Measure, suggest the offset, set it, verify it with `fresh_pairs`, keep it: `.analysis`, `.verification`, `.kept`
    (None with `.why_not`). What was broken off is gone on with, unless `anew`; `enough` measures no more than the
    tolerance asks for. `confirmed` as for `series`."""
    who, path = person or nobody(on_progress), Path(rig)
    simulated = box.identity.simulated
    items = confirm_checklist(load_rig(path), who, simulated=simulated, confirmed=confirmed)
    return calibration.calibrate(box, path, (pairs, fresh_pairs), items, who, anew=anew, enough=enough)


def ready(
    box: BoxClient,
    rig: RigPath = "rig.toml",
    *,
    film: bool = False,
    confirmed: bool = False,
    on_progress: Callable[[Progress], None] | None = None,
    person: Person | None = None,
) -> Judged:
    """Whether the rig is still what was calibrated and the box will do it alone: `.ready`, `.why`. `film`: frames are
    spent, which wants `confirmed` or a person."""
    who = person or nobody(on_progress)
    return readiness.judge_fresh_pairs(box, Path(rig), who, film=film, confirmed=confirmed)
