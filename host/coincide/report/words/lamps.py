"""What the frames of the lamp row show, in rows, sentences and JSON."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from coincide.report.words.numbers import ms, percent
from coincide.report.words.quantities import json_of
from coincide.report.words.series import who
from coincide.session.model import BODIES
from coincide.timing.lamps.rounds import LampPair
from coincide.timing.lamps.series import LampAnalysis

FRAME_COLUMNS = (
    "pair",
    "a lamp, ms",
    "skew, ms",
    "lag A, ms",
    "lag B, ms",
    "exposure A, ms",
    "exposure B, ms",
)


def frame_rows(found: LampAnalysis) -> list[tuple[str, ...]]:
    """A row a pair, each number with the digits that a lamp's step leaves it."""
    return [
        (
            str(pair.number),
            f"{pair.step_s * 1e3:g}",
            *(
                ms(value, pair.step_s / 2).removesuffix(" ms") if math.isfinite(value) else "not read"
                for value in (pair.skew_s, *pair.lag_s, *pair.exposure_s)
            ),
        )
        for pair in found.pairs
    ]


def lamp_sentences(found: LampAnalysis) -> list[str]:
    """What to set, what to expect of it, and what to mind."""
    said = []
    skew, names = found.skew, who(found.rig)
    if skew.budget is not None:
        half_s = skew.budget.expanded_s
        late, early = (names[1], names[0]) if skew.value_s > 0 else (names[0], names[1])
        size_s = abs(skew.value_s)
        said.append(
            f"{late} exposes {ms(size_s, half_s)} after {early}, give or take {ms(half_s, half_s)} (95 %)."
        )
        if size_s <= half_s:
            said.append("That may as well be nothing: set no offset.")
        else:
            said.append(f"Delay {early} by {ms(size_s, half_s)}.")
    else:
        said.append(f"The skew is not known: {skew.why_not}")
    if math.isfinite(found.keepers):
        said.append(
            f"With it about {percent(found.keepers)} of pairs should be within the tolerance of "
            f"±{ms(found.tolerance_s, found.tolerance_s / 20)}, going by {found.used} pairs."
        )
    return said + [f"Note: {line}" for line in found.remarks]


def lamp_json(found: LampAnalysis, path: Path, kept: Path | None) -> dict[str, Any]:
    """Seconds throughout; a frame that was not read is null."""
    return {
        "format": "coincide-lamps-result",
        "version": 1,
        "session": path,
        "rig": found.rig.name,
        "exposures": found.rig.exposures,
        "tolerance_s": found.tolerance_s,
        "pairs": [_pair(pair) for pair in found.pairs],
        "pairs_used": found.used,
        "quantities": json_of(found.quantities, found.rig),
        "jitter_s": found.jitter_s,
        "expected_keepers": found.keepers,
        "noticed": found.remarks,
        "calibration": kept,
    }


def _pair(pair: LampPair) -> dict[str, Any]:
    bodies = {
        f"{name}_{letter.lower()}_s": value
        for name, values in (("lag", pair.lag_s), ("exposure", pair.exposure_s))
        for letter, value in zip(BODIES, values, strict=True)
    }
    return {"number": pair.number, "step_s": pair.step_s, "skew_s": pair.skew_s, **bodies}
