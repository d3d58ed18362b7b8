"""Showing what a session found, the same way for every command."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.show import as_json as print_json
from coincide.cli.terminal.show import say, table

if TYPE_CHECKING:
    from coincide.cli.firing import Fired
    from coincide.timing.analysis import Analysis


def analyse_file(path: Path) -> Analysis:
    """Read and analyse a session, from the file alone."""
    from coincide.session.file import read_session
    from coincide.timing.analysis import analyse

    return analyse(read_session(path))


def show_session(path: Path, *, as_json: bool, other: Path | None = None) -> Analysis:
    """Print a session's result: sentences and a table, or JSON. Returns the analysis.

    other: an earlier session to compare with; in JSON it stands under 'compared'.
    """
    from coincide.report.json.series import session_json
    from coincide.report.words.comparison import comparisons

    analysis = analyse_file(path)
    if as_json:
        result = session_json(analysis, path)
        if other is not None:
            result["compared"] = comparisons(analysis.measured, analyse_file(other).measured)
        print_json(result)
    else:
        show_analysis(analysis)
        say(f"Every edge is kept in {path}")
    return analysis


def show_analysis(analysis: Analysis) -> None:
    """The table of both bodies, who is late, what to set, what to expect, and what else was noticed."""
    from coincide.report.words.left_over import what_it_leaves
    from coincide.report.words.series import (
        BODY_COLUMNS,
        body_rows,
        lateness,
        noticed,
        was_watched,
        what_to_expect,
        what_to_set,
    )

    measured = analysis.measured
    table(BODY_COLUMNS, body_rows(measured))
    say(lateness(analysis))
    if analysis.suggestion is not None:
        say(what_to_set(measured.rig, analysis.suggestion, watched=was_watched(measured)))
        for line in (*what_to_expect(analysis.suggestion), *what_it_leaves(analysis)):
            say(line)
    for line in noticed(analysis):
        say(f"Note: {line}")


def show_comparison(analysis: Analysis, other: Path, turned: float | None = None) -> None:
    """What changed since an earlier session, a sentence each; and what a plunger's screw did, turned so far."""
    from coincide.report.words.comparison import comparison_sentences, comparisons, turning_sentence
    from coincide.report.words.series import who

    now = analysis.measured
    found = comparisons(now, analyse_file(other).measured)
    say(f"Compared with {other}:")
    for line in comparison_sentences(found, now.rig):
        say(f"  {line}")
    if turned is not None:
        say(turning_sentence(found, turned, now, who(now.rig)))


def show_budget(analysis: Analysis) -> None:
    """Every quantity with its uncertainty, then the whole budget of the skew's centre, where there is one."""
    from coincide.report.words.quantities import QUANTITY_COLUMNS, quantity_rows
    from coincide.report.words.series import BUDGET_COLUMNS, budget_rows, budget_sentence
    from coincide.timing.budgets import skew_budget

    table(QUANTITY_COLUMNS, quantity_rows(analysis))
    found = skew_budget(analysis)
    if found is not None:
        say("What makes the skew uncertain:")
        table(BUDGET_COLUMNS, budget_rows(found))
        say(budget_sentence(found))


def leave_unless_complete(fired: Fired, again: str, *, as_json: bool) -> None:
    """Leave with exit code 1 when the series stopped early, saying how to go on."""
    if fired.outcome.complete:
        return
    if not as_json:
        say(f"The series stopped early. To go on: {again}")
    click.get_current_context().exit(1)
