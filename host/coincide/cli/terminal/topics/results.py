"""Showing what a session found, the same way for every command."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.again import quoted
from coincide.cli.terminal.show import as_json as print_json
from coincide.cli.terminal.show import say, table
from coincide.errors import BadInput

if TYPE_CHECKING:
    from coincide.bench.calibration import Calibrated
    from coincide.bench.lamp_row import LampsRead
    from coincide.bench.series import SeriesDone
    from coincide.timing.analysis import Analysis


def show_session(
    analysis: Analysis,
    path: Path,
    *,
    as_json: bool,
    other: Analysis | None = None,
    account: Sequence[str] = (),
) -> None:
    """Print a session's result: sentences and a table, or JSON.

    other: an earlier session to compare with; in JSON it stands under 'compared'. account: where the pairs come from,
    after the answer.
    """
    from coincide.bench.objects import session_object

    if as_json:
        print_json(session_object(analysis, path, other))
        return
    show_analysis(analysis, account)
    say(f"Every edge is kept in {path}")


def show_analysis(analysis: Analysis, account: Sequence[str] = ()) -> None:
    """Who is late, what to set, where it comes from, what to expect, what else was noticed; then the table of both
    bodies."""
    from coincide.report.words.left_over import what_it_leaves
    from coincide.report.words.series import (
        body_columns,
        body_rows,
        lateness,
        noticed,
        source_sentence,
        steady_offset_on_s,
        was_recorded,
        was_watched,
        what_to_expect,
        what_to_set,
    )

    measured = analysis.measured
    say(lateness(analysis))
    for line in account:
        say(line)
    source = source_sentence(measured)
    if source is not None:
        say(source)
    if analysis.suggestion is not None:
        again = "coincide recording" if was_recorded(measured) else "coincide watch"
        watched, on_s = was_watched(measured), steady_offset_on_s(measured)
        say(what_to_set(measured.rig, analysis.suggestion, watched=watched, again=again, on_s=on_s))
        for line in (*what_to_expect(analysis.suggestion), *what_it_leaves(analysis)):
            say(line)
    for line in noticed(analysis):
        say(f"Note: {line}")
    table(body_columns(measured), body_rows(measured))


def show_comparison(
    analysis: Analysis, other: Path, then: Analysis | None, turned: float | None = None
) -> None:
    """What changed since an earlier session, a sentence each; and what a plunger's screw did, turned so far."""
    from coincide.report.words.comparison import comparison_sentences, comparisons, turning_sentence
    from coincide.report.words.series import who

    if then is None:
        return
    now = analysis.measured
    if turned is not None and now.known.recording is not None and not now.known.recording.named:
        raise BadInput(
            "--turned asks which way the skew went, and nobody knows which body is on which channel: begin the "
            "recording with "
            "three bangs of A alone, then three of B, or say --channels."
        )
    found = comparisons(now, then.measured)
    say(f"Compared with {other}:")
    for line in comparison_sentences(found, now.rig):
        say(f"  {line}")
    if turned is not None:
        say(turning_sentence(found, turned, now, who(now.rig)))


def show_budget(analysis: Analysis) -> None:
    """Every quantity with its uncertainty, then the whole budget of the skew's centre, where there is one."""
    from coincide.report.words.quantities import QUANTITY_COLUMNS, rows_of
    from coincide.report.words.series import BUDGET_COLUMNS, budget_rows, budget_sentence
    from coincide.timing.budget.quantities import reported

    quantities = reported(analysis)
    table(QUANTITY_COLUMNS, rows_of(quantities, analysis.measured.rig))
    found = quantities[0].budget  # of the skew
    if found is not None:
        say("What makes the skew uncertain:")
        table(BUDGET_COLUMNS, budget_rows(found))
        say(budget_sentence(found))


def leave_unless_complete(done: SeriesDone, again: str, *, as_json: bool) -> None:
    """Leave with exit code 1 when the series stopped early, saying how to go on."""
    if done.complete:
        return
    if not as_json:
        say(f"The series stopped early. To go on: {again}")
    click.get_current_context().exit(1)


def show_verified(analysis: Analysis, fresh: Analysis | None) -> None:
    """Predicted beside obtained, where there is a fresh session that can be compared."""
    from coincide.report.files import verification_of
    from coincide.report.words.series import verified

    verification = verification_of(analysis, fresh)
    if analysis.suggestion is not None and verification is not None:
        for line in verified(analysis.measured.rig, analysis.suggestion, verification):
            say(line)


def show_calibrated(done: Calibrated, *, as_json: bool) -> None:
    """The answer; predicted beside obtained, where everything is; then what the series showed."""
    from coincide.bench.objects import as_object
    from coincide.report.words.calibrated import calibration_sentence
    from coincide.report.words.series import verified

    if as_json:
        print_json(as_object(done))
        return
    say(calibration_sentence(done.analysis, done.verification, done.why_not))
    suggestion = None if done.analysis is None else done.analysis.suggestion
    if done.analysis is not None and suggestion is not None and done.verification is not None:
        for line in verified(done.analysis.measured.rig, suggestion, done.verification):
            say(line)
    if done.kept is not None:
        say(f"Kept as {done.kept}, and in the box as a preset for this pair of shutter times.")
    if done.fresh_analysis is not None and done.fresh is not None:
        say(f"Look at it: coincide report {quoted(done.measured.path)} --fresh {quoted(done.fresh.path)}")
    else:
        say(f"Every edge is kept in {done.measured.path}")
    if done.analysis is not None:
        say()
        show_analysis(done.analysis)


def show_lamps(read: LampsRead, *, as_json: bool) -> None:
    """The frames, what they come to, what to set."""
    from coincide.bench.objects import as_object
    from coincide.report.words.lamps import FRAME_COLUMNS, frame_rows, lamp_sentences
    from coincide.report.words.quantities import QUANTITY_COLUMNS, rows_of

    found, kept = read.found, read.kept
    if as_json:
        print_json(as_object(read))
        return
    if read.simulated:
        say("Simulated: a simulated box made this session. Nothing of it was measured.")
    for line in lamp_sentences(found):
        say(line)
    say(f"Everything is kept in {read.path}" if kept is None else f"Kept as {kept}")
    if kept is not None:
        say("Into the box with it: coincide box settings --store")
    table(FRAME_COLUMNS, frame_rows(found))
    table(QUANTITY_COLUMNS, rows_of(found.quantities, found.rig))
