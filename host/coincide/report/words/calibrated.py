"""The first line of a calibration: what to set and whether it held, or why nothing was kept."""

from __future__ import annotations

from coincide.report.words.numbers import ms
from coincide.report.words.series import steady_offset_on_s, what_to_set
from coincide.timing.analysis import Analysis
from coincide.timing.offset.verify import Verification


def calibration_sentence(
    analysis: Analysis | None, verification: Verification | None, why_not: str | None
) -> str:
    """'Delay Lapwing (A) by 20.04 ms: with it 29 of 29 fresh pairs were within ±3.08 ms.'"""
    suggestion = None if analysis is None else analysis.suggestion
    if why_not is not None or analysis is None or suggestion is None or verification is None:
        return f"No calibration was kept: {why_not}"
    setting = what_to_set(
        analysis.measured.rig, suggestion, on_s=steady_offset_on_s(analysis.measured)
    ).rstrip(".")
    limit_s = suggestion.tolerance_s
    return (
        f"{setting}: with it {verification.keepers} of {verification.pairs} fresh pairs were within "
        f"±{ms(limit_s, limit_s / 20)}."
    )
