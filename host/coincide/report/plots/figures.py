"""All pictures of one analysis, by name: for files, and for the page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from coincide.durable import write_outputs
from coincide.report.plots.diagram import PairEdges, timing_diagram
from coincide.report.plots.series import before_after, distribution, figure_bytes, skew_by_shot
from coincide.timing.analysis import Analysis, Measured
from coincide.timing.offset.verify import Verification

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def session_figures(analysis: Analysis) -> dict[str, Figure]:
    """Figures of one session: 'skew-by-shot', 'distribution' and 'one-pair', as far as there is anything to draw."""
    measured, suggestion = analysis.measured, analysis.suggestion
    names = (measured.rig.bodies.a.name, measured.rig.bodies.b.name)
    figures: dict[str, Figure] = {}
    if measured.answered:
        centre_s = _centre(analysis)
        aside = np.array([], dtype=np.int64)
        if suggestion is not None:
            aside = measured.shots.number[[*suggestion.first, *suggestion.outliers]]
        figures["skew-by-shot"] = skew_by_shot(
            measured.shots.number,
            measured.skew_s,
            measured.tolerance_s,
            centre_s,
            set_aside=aside,
            who=names,
        )
        if suggestion is not None:
            bare_s = measured.skew_s + measured.offset_on_s
            figures["distribution"] = distribution(
                bare_s, suggestion.offset_s, suggestion.interval_s, measured.tolerance_s, who=names
            )
    if measured.shots.number.size:
        figures["one-pair"] = timing_diagram(pair_edges(measured, _typical_row(measured)))
    return figures


def comparison_figure(before: Analysis, after: Measured, verification: Verification | None = None) -> Figure:
    """The series before and the one with the offset on, on one axis. Marked are the centres that the sentences give;
    each series' median without a `verification`."""
    measured, found = before.measured, before.suggestion
    names = (measured.rig.bodies.a.name, measured.rig.bodies.b.name)
    centres_s = None
    if found is not None and verification is not None:
        centres_s = (_centre(before), verification.centre_s)
    return before_after(measured.skew_s, after.skew_s, measured.tolerance_s, centres_s=centres_s, who=names)


def save_figures(figures: dict[str, Figure], folder: Path, prefix: str) -> list[Path]:
    """Write each figure as `<prefix>-<name>.png`. Returns the paths."""
    return write_outputs(figure_files(figures, folder, prefix))


def figure_files(figures: dict[str, Figure], folder: Path, prefix: str) -> dict[Path, bytes]:
    """The PNG files of named figures, not yet written."""
    return {folder / f"{prefix}-{name}.png": figure_bytes(figure, ".png") for name, figure in figures.items()}


def pair_edges(measured: Measured, row: int) -> PairEdges:
    """The edges of one row, in seconds from that row's start, with its mid-exposures."""
    table = measured.session.edges
    first, end = np.searchsorted(table.row, (row, row + 1))  # rows stand in order
    mine = slice(int(first), int(end))
    tick = table.tick[mine]
    full = [i for i, name in enumerate(measured.session.header.channels) if name.startswith("full")]
    pressed = np.isin(table.channel[mine], full) & (table.level[mine] == 1)
    zero = tick[pressed].min() if np.any(pressed) else (tick.min() if tick.size else 0)
    mid_a, mid_b = measured.mids.mid_s[row]
    return PairEdges(
        number=int(measured.shots.number[row]),
        channels=measured.session.header.channels,
        channel=table.channel[mine],
        level=table.level[mine],
        time_s=(tick - zero) / measured.session.header.tick_hz,
        mid_s=(float(mid_a), float(mid_b)),
    )


def _centre(analysis: Analysis) -> float:
    """Centre of the band in the skew as it was measured, the offset that was on included."""
    measured, suggestion = analysis.measured, analysis.suggestion
    if suggestion is None:
        return float(np.nanmedian(measured.skew_s))
    return suggestion.best_s - float(np.median(measured.offset_on_s))


def _typical_row(measured: Measured) -> int:
    """The row nearest the median skew, or the first when none has a skew."""
    if not measured.answered:
        return 0
    away = np.abs(measured.skew_s - np.nanmedian(measured.skew_s))
    return int(np.nanargmin(away))
