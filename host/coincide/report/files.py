"""Writing the files of a report: pictures and page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from coincide.durable import make_folder
from coincide.errors import BadInput
from coincide.timing.analysis import analyse_file, verified

if TYPE_CHECKING:
    from coincide.timing.analysis import Analysis
    from coincide.timing.offset.verify import Verification


def write_report(
    analysis: Analysis, session: Path, fresh: Path | None, folder: Path, pair: int | None = None
) -> list[Path]:
    """Pictures and page of a session, and of the fresh one where there is one, into `folder`. Their paths."""
    from coincide.report.page.content import page_content
    from coincide.report.page.write import write_page
    from coincide.report.plots.diagram import timing_diagram
    from coincide.report.plots.figures import comparison_figure, pair_edges, save_figures, session_figures

    make_folder(folder)
    figures = session_figures(analysis)
    if pair is not None:
        rows = (analysis.measured.shots.number == pair).nonzero()[0]
        if not rows.size:
            raise BadInput(
                f"{session} has no pair {pair}: it holds {analysis.measured.shots.number.size} pairs."
            )
        figures["one-pair"] = timing_diagram(pair_edges(analysis.measured, int(rows[0])))
    fresh_analysis = None if fresh is None else analyse_file(fresh)
    if fresh_analysis is not None:
        figures["before-after"] = comparison_figure(analysis.measured, fresh_analysis.measured)
    verification = _verification(analysis, fresh_analysis)
    written = save_figures(figures, folder, session.stem)
    page = page_content(analysis, session.name, fresh_analysis, verification)
    written.append(write_page(page, folder / f"{session.stem}.html"))
    return written


def _verification(analysis: Analysis, fresh: Analysis | None) -> Verification | None:
    if fresh is None or analysis.suggestion is None:
        return None
    try:
        return verified(analysis.suggestion, fresh.measured)
    except BadInput:
        return None  # too few fresh pairs to compare; the pictures still show them
