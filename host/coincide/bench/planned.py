"""A plan that rests on one session: a box's, or one made of a recording."""

from __future__ import annotations

from pathlib import Path

from coincide.errors import BadInput
from coincide.planning.basis import Basis, PairsMeasured, basis_of_pairs
from coincide.rig.model import Rig
from coincide.timing.analysis import analyse_file


def basis_from_session(rig: Rig, path: Path, jitter_s: float | None = None) -> Basis:
    """What the session measured, under today's rig. Raises BadInput where it settles no middle."""
    analysis = analyse_file(path)
    found, measured = analysis.suggestion, analysis.measured
    if found is None:
        raise BadInput(f"{path} settles nothing that a plan could rest on: {analysis.why_none}")
    recording, header = measured.known.recording, measured.session.header
    on_s = float(measured.offset_on_s[-1])
    pairs = PairsMeasured(
        measured.rig,
        found.shots_used,
        found.jitter_s,
        found.best_s - on_s,
        (found.interval_s[0] - on_s, found.interval_s[1] - on_s),
        path,
        header.created,
        "box" if recording is None else recording.source,
        recording is None or recording.named,
        header.simulated,
    )
    return basis_of_pairs(rig, pairs, jitter_s)
