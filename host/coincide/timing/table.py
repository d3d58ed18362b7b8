"""The pairs of a session as a plain table: one array a column, one row a pair."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

import numpy as np
import numpy.typing as npt

from coincide.timing.analysis import Measured

Column = npt.NDArray[Any]


def pairs_table(measured: Measured) -> dict[str, Column]:
    """Columns (n,), seconds: pair, started_s, skew_s, lag_a_s and _b_s, exposure_a_s and _b_s, offset_on_s, within.

    NaN where a body was not seen; `within` False there.
    """
    shots = measured.shots
    with np.errstate(invalid="ignore"):
        within = np.abs(measured.skew_s) <= measured.tolerance_s
    return {
        "pair": np.asarray(shots.number),
        "started_s": np.asarray(shots.start_s),
        "skew_s": measured.skew_s,
        "lag_a_s": measured.lag_s[:, 0],
        "lag_b_s": measured.lag_s[:, 1],
        "exposure_a_s": measured.mids.exposure_s[:, 0],
        "exposure_b_s": measured.mids.exposure_s[:, 1],
        "offset_on_s": measured.offset_on_s,
        "within": within,
    }


def table_csv(table: dict[str, Column]) -> str:
    """The table as CSV with a heading; an empty cell where a figure is not known."""
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(table)
    for row in zip(*(column.tolist() for column in table.values()), strict=True):
        writer.writerow(["" if isinstance(cell, float) and math.isnan(cell) else cell for cell in row])
    return text.getvalue()
