"""The page's first sentence: what to do, and what came of it."""

from __future__ import annotations

from coincide.report.words.series import (
    keepers,
    lateness,
    shares_an_error,
    steady_offset_on_s,
    was_watched,
    what_to_set,
)
from coincide.timing.analysis import Analysis
from coincide.timing.offset.verify import Verification


def verdict(analysis: Analysis, verification: Verification | None) -> str:
    """One sentence: the setting and its proof, or why there is none."""
    found, rig = analysis.suggestion, analysis.measured.rig
    if found is None:
        return lateness(analysis)
    if was_watched(analysis.measured):
        return what_to_set(rig, found, watched=True).split(", then")[0].rstrip(".") + "."
    if found.body_to_delay is None:
        setting = "No offset is needed"
    else:
        on_s = steady_offset_on_s(analysis.measured)
        setting = what_to_set(rig, found, on_s=on_s).rstrip(".")
    if verification is None:
        return f"{setting}: {keepers(found)} of pairs should then expose together within tolerance."
    obtained = f"{verification.keepers} of {verification.pairs} fresh pairs"
    if verification.agrees and shares_an_error(found):
        return (
            f"{setting}: {obtained} were then within tolerance as the same sensors see them; counting what the sensors "
            f"share, {keepers(found)} are."
        )
    if verification.agrees:
        return f"{setting}: {obtained} then exposed together within tolerance."
    return f"{setting}, but do not trust it yet: the fresh series does not agree with what was predicted."
