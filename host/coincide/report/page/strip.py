"""The strip under the verdict: both exposures as bars on one time axis, before and with the offset.

Places are per cent of the axis, so that the page lays them out at any width with its own type.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from coincide.report.words.numbers import ms
from coincide.timing.analysis import Analysis, Measured
from coincide.timing.offset.verify import Verification


@dataclass(frozen=True, slots=True)
class Bar:
    """One exposure: where it begins and how long it is, and its middle; per cent of the axis."""

    letter: str
    name: str
    left: float
    width: float
    middle: float
    exposure: str


@dataclass(frozen=True, slots=True)
class Row:
    """Both exposures in one state: what state, the bars, the distance between their middles in words."""

    when: str
    bars: tuple[Bar, Bar]
    apart: str


@dataclass(frozen=True, slots=True)
class Strip:
    rows: tuple[Row, ...]
    alt: str
    caption: str


def strip(analysis: Analysis, verification: Verification | None) -> Strip | None:
    """The typical pair as the bodies fire it, and with the offset; None where no offset was found."""
    found, measured = analysis.suggestion, analysis.measured
    if found is None:
        return None
    exposures_s = _exposures_s(measured)
    left_over_s = found.best_s - found.offset_s if verification is None else verification.centre_s
    # Without an offset A's middle is the zero; with it, the body that waits has moved and the other has not.
    held_s = found.offset_s if found.body_to_delay == "A" else 0.0
    states = (
        ("without an offset", (0.0, found.best_s)),
        ("with the offset", (held_s, held_s + left_over_s)),
    )
    begins_s = min(mids[i] - exposures_s[i] / 2 for _, mids in states for i in (0, 1))
    ends_s = max(mids[i] + exposures_s[i] / 2 for _, mids in states for i in (0, 1))
    axis = (begins_s, max(ends_s - begins_s, 1e-9))
    rows = [_row(measured, when, mids, exposures_s, axis) for when, mids in states]
    if verification is None:  # nothing was fired with it yet
        rows[1] = replace(rows[1], apart="together, as reckoned")
    names = [body.name for body in measured.rig.both]
    return Strip(
        tuple(rows),
        alt="; ".join(f"{row.when}, the exposures are {row.apart}" for row in rows) + ".",
        caption=(
            f"The exposure of {names[0]} above that of {names[1]}, true to scale in time; a line marks the middle of "
            "each. The offset holds one body back until the middles meet."
        ),
    )


def _row(
    measured: Measured,
    when: str,
    mids_s: tuple[float, float],
    exposures_s: tuple[float, float],
    axis: tuple[float, float],
) -> Row:
    begins_s, span_s = axis

    def place(time_s: float) -> float:
        return round(100 * (time_s - begins_s) / span_s, 3)

    first, second = (
        Bar(
            letter,
            measured.rig.both[i].name,
            left=place(mids_s[i] - exposures_s[i] / 2),
            width=round(100 * exposures_s[i] / span_s, 3),
            middle=place(mids_s[i]),
            exposure=ms(exposures_s[i], exposures_s[i] / 20),
        )
        for i, letter in enumerate("ab")
    )
    apart_s = abs(mids_s[1] - mids_s[0])
    return Row(when, (first, second), f"{ms(apart_s, max(apart_s / 20, 1e-4))} apart")


def _exposures_s(measured: Measured) -> tuple[float, float]:
    """Measured where they were, else as the dials say."""
    found = []
    for index, body in enumerate(measured.rig.both):
        column = measured.mids.exposure_s[:, index]
        known = column[np.isfinite(column)]
        found.append(float(np.median(known)) if known.size else body.shutter.exposure.nominal_s)
    return (found[0], found[1])
