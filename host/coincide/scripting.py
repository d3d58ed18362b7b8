"""For scripts: a file in, arrays and results out. Everything here is also what the commands use."""

from __future__ import annotations

import os
from pathlib import Path

from coincide.bench.objects import as_object
from coincide.errors import BadInput
from coincide.report.json import plain
from coincide.rig.calibration import Calibration, calibrations_beside
from coincide.session import frames
from coincide.session.file import read_session
from coincide.timing.analysis import Analysis, analyse, in_order, verified
from coincide.timing.offset.verify import Verification
from coincide.timing.table import Column, pairs_table

__all__ = ["Analysis", "Verification", "calibrations", "load", "pairs", "read_frames", "to_json", "verify"]


def load(path: str | os.PathLike[str]) -> Analysis:
    """Read a session file and work everything out from its raw edges.

    `.measured` has one row a pair: `skew_s` (n,), `lag_s` (n, 2), `mids.exposure_s` (n, 2), `shots`, in seconds,
    NaN where not seen. `.suggestion` is the offset with its interval and what to expect of it, or None; then
    `.why_none` says why. `.findings` is what else was noticed. Raises BadInput in a sentence.
    """
    return analyse(read_session(Path(path)))


def pairs(path: str | os.PathLike[str]) -> dict[str, Column]:
    """A session's pairs as a table: a dict of arrays, a row a pair, seconds. `pandas.DataFrame(coincide.pairs(path))`.

    The columns are those of `coincide report --csv`. Raises BadInput in a sentence.
    """
    return pairs_table(load(path).measured)


def to_json(value: object) -> str:
    """Any result as JSON text, NaN as null; a procedure's or a session's is what the command prints with `--json`."""
    return plain.to_json(as_object(value))


def verify(series: Analysis, fresh: Analysis) -> Verification:
    """A fresh series, fired with the offset on, against what `series` promised; the sessions know which is which, so
    their order does not matter. Raises BadInput where it cannot."""
    series, fresh = in_order(series, fresh)
    if series.suggestion is None:
        raise BadInput(f"The first series suggests no offset to verify: {series.why_none}")
    return verified(series.suggestion, fresh.measured)


def calibrations(rig_path: str | os.PathLike[str]) -> tuple[Calibration, ...]:
    """The calibrations kept beside a rig file, newest first; files that cannot be read are left out."""
    return tuple(found.calibration for found in calibrations_beside(rig_path)[0])


def read_frames(path: str | os.PathLike[str]) -> tuple[frames.Frame, ...]:
    """The frames of a log written by 'coincide framelog --csv'. Raises BadInput in a sentence."""
    return frames.read_frames(Path(path))
