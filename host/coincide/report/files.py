"""Writing the files of a report: pictures and page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from coincide.durable import make_folder, write_outputs
from coincide.errors import BadInput
from coincide.inputs import sayable
from coincide.timing.analysis import verified

if TYPE_CHECKING:
    from coincide.timing.analysis import Analysis
    from coincide.timing.offset.verify import Verification


def write_report(
    analysis: Analysis,
    session: Path,
    fresh_analysis: Analysis | None,
    folder: Path,
    pair: int | None = None,
) -> list[Path]:
    """Pictures and page of a session, and of the fresh one where there is one, into `folder`. Their paths."""
    from coincide.report.page.content import page_content
    from coincide.report.page.write import page_html
    from coincide.report.plots.diagram import timing_diagram
    from coincide.report.plots.figures import comparison_figure, figure_files, pair_edges, session_figures

    make_folder(folder)
    figures = session_figures(analysis)
    if pair is not None:
        rows = (analysis.measured.shots.number == pair).nonzero()[0]
        if not rows.size:
            raise BadInput(
                f"{session} has no pair {pair}: it holds {analysis.measured.shots.number.size} pairs."
            )
        figures["one-pair"] = timing_diagram(pair_edges(analysis.measured, int(rows[0])))
    verification = verification_of(analysis, fresh_analysis)
    if fresh_analysis is not None:
        figures["before-after"] = comparison_figure(analysis, fresh_analysis.measured, verification)
    contents = figure_files(figures, folder, session.stem)
    page = page_content(analysis, sayable(session.name), fresh_analysis, verification)
    contents[folder / f"{session.stem}.html"] = page_html(page).encode()
    return write_outputs(contents)


def verification_of(analysis: Analysis, fresh: Analysis | None) -> Verification | None:
    """Predicted beside obtained; None without a fresh session, or where too few of its pairs count."""
    if fresh is None or analysis.suggestion is None:
        return None
    try:
        return verified(analysis.suggestion, fresh.measured)
    except BadInput:
        return None  # too few fresh pairs to compare; the pictures still show them


def write_csv(analysis: Analysis, path: Path) -> Path:
    """The pairs as a new CSV file, a row a pair. Raises BadInput where it cannot be written or is there."""
    from coincide.durable import write_new
    from coincide.timing.table import pairs_table, table_csv

    try:
        write_new(path, table_csv(pairs_table(analysis.measured)).encode())
    except FileExistsError:
        raise BadInput(f"{path} exists already: choose another name.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror}.") from error
    return path
