"""The JSON object of each result: what `--json` prints is what `coincide.to_json` writes (docs/formats.md)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from coincide.bench.box_settings import Remembered
from coincide.bench.calibration import Calibrated
from coincide.bench.check.evening import Checked
from coincide.bench.check.record import OUTCOMES, REHEARSED, record_table
from coincide.bench.lamp_row import LampsRead
from coincide.bench.readiness import Judged
from coincide.bench.roll import LogRead
from coincide.bench.series import SeriesDone, WatchDone
from coincide.report.json.series import session_json, verification_json
from coincide.report.words.comparison import comparisons
from coincide.report.words.lamps import lamp_json
from coincide.timing.analysis import Analysis


def as_object(result: Any) -> Any:
    """A procedure's result as its documented object; anything else as it is."""
    match result:
        case Calibrated():
            return _calibrated(result)
        case SeriesDone() | WatchDone():
            return session_object(result.analysis, result.path, result.compared_with)
        case Analysis():
            return session_json(result, None)
        case Judged():
            return _judged(result)
        case LampsRead():
            found = lamp_json(result.found, result.path, result.kept)
            return found | {"simulated": result.simulated}
        case Remembered():
            return _remembered(result)
        case Checked():
            return _checked(result)
        case LogRead():
            return _log(result)
    return result


def session_object(analysis: Analysis, path: Path | None, other: Analysis | None = None) -> dict[str, Any]:
    """A session, compared with another where there is one."""
    found = session_json(analysis, path)
    if other is not None:
        found["compared"] = comparisons(analysis.measured, other.measured)
    return found


def _calibrated(done: Calibrated) -> dict[str, Any]:
    measured = None if done.analysis is None else session_json(done.analysis, done.measured.path)
    fresh = None
    if done.fresh is not None and done.fresh_analysis is not None:
        fresh = session_json(done.fresh_analysis, done.fresh.path)
    return {
        "format": "coincide-calibration-result",
        "version": 1,
        "simulated": done.simulated,
        "measured": measured,
        "fresh": fresh,
        "verification": None if done.verification is None else verification_json(done.verification),
        "calibration": done.kept,
        "why_not_kept": done.why_not,
    }


def _judged(judged: Judged) -> dict[str, Any]:
    found = judged.readiness
    return {
        "format": "coincide-ready-result",
        "version": 1,
        "simulated": judged.simulated,
        "ready": judged.ready,
        "verdict": "not ready" if found is None else found.verdict,
        "why": judged.why,
        "calibration": judged.calibration,
        "session": judged.session,
        "readiness": found,
    }


def _remembered(held: Remembered) -> dict[str, Any]:
    return {
        "format": "coincide-box-settings-result",
        "version": 1,
        "simulated": held.simulated,
        "ok": held.ok,
        "say": held.say,
        "values": held.values,
        "presets": held.presets,
        "bench": held.bench,
    }


def _checked(checked: Checked) -> dict[str, Any]:
    table = record_table(checked.record) | {"format": "coincide-bench-result", "version": 1}
    if checked.simulated:
        for one in table["items"]:
            one["outcome"] = REHEARSED if one["outcome"] == OUTCOMES[True] else one["outcome"]
    return table | {"simulated": checked.simulated, "passed": checked.record.passed, "kept_as": checked.kept}


def _log(read: LogRead) -> dict[str, Any]:
    return {
        "format": "coincide-framelog-result",
        "version": 1,
        "simulated": read.simulated,
        "capacity": read.log.capacity,
        "damaged": read.log.damaged,
        "frames": read.frames,
        "csv": read.csv,
        "cleared": read.cleared,
    }
