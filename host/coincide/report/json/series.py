"""What `--json` prints for sessions and calibrations. Stable: keys are added, never renamed (docs/formats.md)."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from coincide.report.words.left_over import left_at_each_end_s
from coincide.report.words.quantities import json_of
from coincide.report.words.series import noticed
from coincide.timing.analysis import Analysis
from coincide.timing.budget.known import Known
from coincide.timing.budget.quantities import reported
from coincide.timing.offset.suggest import OffsetSuggestion
from coincide.timing.offset.verify import Verification


def session_json(analysis: Analysis, path: Path | None) -> dict[str, Any]:
    """One session: what was fired, each pair, each body, the offset, what was noticed. Seconds throughout."""
    measured, quantities = analysis.measured, reported(analysis)
    shots = measured.shots
    return {
        "format": "coincide-session-result",
        "version": 1,
        "session": path,
        "rig": measured.rig.name,
        "simulated": measured.session.header.simulated,
        "source": source_json(measured.known),
        "exposures": measured.rig.exposures,
        "tolerance_s": measured.tolerance_s,
        "pairs": {
            "number": shots.number,
            "skew_s": measured.skew_s,
            "lag_a_s": measured.lag_s[:, 0],
            "lag_b_s": measured.lag_s[:, 1],
            "exposure_a_s": measured.mids.exposure_s[:, 0],
            "exposure_b_s": measured.mids.exposure_s[:, 1],
            "offset_on_s": measured.offset_on_s,
            "within": np.abs(measured.skew_s) <= measured.tolerance_s,
            "black_a": measured.mids.black[:, 0],
            "black_b": measured.mids.black[:, 1],
        },
        "seen_by": [body.how for body in measured.mids.bodies],
        "type_b_u_s": measured.mids.type_b_s,
        "offset": None if analysis.suggestion is None else offset_json(analysis.suggestion, shots.number),
        "left_at_each_end_s": left_at_each_end_s(analysis),
        "budget": quantities[0].budget,
        "quantities": json_of(quantities, measured.rig),
        "why_no_offset": analysis.why_none,
        "noticed": noticed(analysis),
    }


def source_json(known: Known) -> dict[str, Any]:
    """Where the edges came from: the box, or a recording's kind, file and digest."""
    if known.recording is None:
        return {"kind": "box"}
    one = known.recording
    return {"kind": one.source, "file": one.file, "sha256": one.sha256, "bodies_named": one.named}


def offset_json(suggestion: OffsetSuggestion, number: npt.NDArray[np.int64]) -> dict[str, Any]:
    """An offset and what it promises. number (n,): of the series' shots, by which those left out are named."""
    return {
        "offset_s": suggestion.offset_s,
        "body_to_delay": suggestion.body_to_delay,
        "delay_s": suggestion.delay_s,
        "interval_s": suggestion.interval_s,
        "median_s": suggestion.median_s,
        "median_interval_s": suggestion.median_interval_s,
        "jitter_s": suggestion.jitter_s,
        "expected_keepers": suggestion.expected_keepers,
        "keepers_range": suggestion.keepers_range,
        "next_frame_s": suggestion.next_frame_s,
        "shots_used": suggestion.shots_used,
        "shots_to_halve": suggestion.shots_to_halve,
        "left_out": {
            "first": number[list(suggestion.first)],
            "outliers": number[list(suggestion.outliers)],
            "missed": number[list(suggestion.missed)],
        },
    }


def verification_json(verification: Verification) -> dict[str, Any]:
    """What was predicted beside what came."""
    return {
        "pairs": verification.pairs,
        "keepers": verification.keepers,
        "share_interval": verification.share_interval,
        "predicted_share": verification.predicted_share,
        "predicted_keepers": verification.predicted_keepers,
        "centre_s": verification.centre_s,
        "centre_interval_s": verification.centre_interval_s,
        "centre_allowed_s": verification.centre_allowed_s,
        "agrees": verification.agrees,
    }
