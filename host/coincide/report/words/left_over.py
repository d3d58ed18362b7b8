"""What bringing the middles of two exposures together leaves where one lasts longer."""

from __future__ import annotations

import numpy as np

from coincide.report.words.numbers import ms
from coincide.report.words.series import who
from coincide.timing.analysis import Analysis

WORTH_TELLING = 0.1  # of the shorter exposure: a difference below this is the shutters' own tolerance


def left_at_each_end_s(analysis: Analysis) -> float:
    """By how much the longer exposure reaches beyond the shorter at either end, as measured at the gates, else as
    marked; positive when B is the longer."""
    first_s, second_s = _exposures_s(analysis)
    return 0.5 * (second_s - first_s)


def what_it_leaves(analysis: Analysis) -> tuple[str, ...]:
    """A sentence where the two exposures differ; nothing else."""
    if analysis.suggestion is None:
        return ()
    ends_s = left_at_each_end_s(analysis)
    names, marks = who(analysis.measured.rig), analysis.measured.rig.exposures
    if abs(2.0 * ends_s) < WORTH_TELLING * min(_exposures_s(analysis)):
        return ()
    long, short = (1, 0) if ends_s > 0 else (0, 1)
    left = ms(abs(ends_s), abs(ends_s) / 20)
    return (
        f"It brings the middles together, not the beginnings: {names[long]} at {marks[long]} still opens {left} before "
        f"{names[short]} at {marks[short]} and closes {left} after it. No offset changes that; 'coincide budget' says "
        "what it does to a picture.",
    )


def _exposures_s(analysis: Analysis) -> tuple[float, float]:
    measured = analysis.measured
    found = []
    for index, body in enumerate(measured.rig.both):
        seen = measured.mids.exposure_s[:, index]
        known = seen[np.isfinite(seen)]
        found.append(float(np.median(known)) if known.size else body.shutter.exposure.nominal_s)
    return found[0], found[1]
