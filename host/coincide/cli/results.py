"""Showing what a session found, the same way for every command."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.show import as_json as print_json
from coincide.cli.show import say, table

if TYPE_CHECKING:
    from coincide.cli.firing import Fired
    from coincide.timing.analysis import Analysis


def analyse_file(path: Path, rig_path: Path | None = None) -> Analysis:
    """Read and analyse a session, with what calibrations beside the rig have learned of its bodies."""
    from coincide.rig.calibration import calibrations_beside, learned_for
    from coincide.rig.file import parse_rig
    from coincide.session.file import read_session
    from coincide.timing.analysis import analyse

    session = read_session(path)
    if rig_path is None:
        return analyse(session)
    rig = parse_rig(session.header.rig_toml, "the rig in the session file")
    found, _ = calibrations_beside(rig_path)
    return analyse(session, (learned_for(found, rig, 0), learned_for(found, rig, 1)))


def show_session(path: Path, rig_path: Path | None = None, *, as_json: bool) -> Analysis:
    """Print a session's result: sentences and a table, or JSON. Returns the analysis."""
    from coincide.report.results_json import session_json

    analysis = analyse_file(path, rig_path)
    if as_json:
        print_json(session_json(analysis, path))
    else:
        show_analysis(analysis)
        say(f"Every edge is kept in {path}")
    return analysis


def show_analysis(analysis: Analysis) -> None:
    """The table of both bodies, who is late, what to set, what to expect, and what else was noticed."""
    from coincide.report.summary import (
        BODY_COLUMNS,
        body_rows,
        lateness,
        noticed,
        what_to_expect,
        what_to_set,
    )

    measured = analysis.measured
    table(BODY_COLUMNS, body_rows(measured))
    say(lateness(analysis))
    if analysis.suggestion is not None:
        say(what_to_set(measured.rig, analysis.suggestion))
        for line in what_to_expect(analysis.suggestion):
            say(line)
    for line in noticed(analysis):
        say(f"Note: {line}")


def leave_unless_complete(fired: Fired, again: str, *, as_json: bool) -> None:
    """Leave with exit code 1 when the series stopped early, saying how to go on."""
    if fired.outcome.complete:
        return
    if not as_json:
        say(f"The series stopped early ({fired.outcome.ending}). To go on: {again}")
    click.get_current_context().exit(1)
