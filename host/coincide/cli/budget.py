"""`coincide budget`: where the ghost comes from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import explain_option, json_option, rig_option
from coincide.cli.terminal.topics.planning import (
    from_session_option,
    jitter_option,
    keepers_option,
    subject_options,
    turning_option,
)

if TYPE_CHECKING:
    from coincide.planning.basis import Basis
    from coincide.planning.budget import Budget


@click.command("budget")
@subject_options
@click.option("--towards", is_flag=True, help="It comes towards the camera (reckoned in the corner).")
@keepers_option
@turning_option
@jitter_option
@from_session_option
@rig_option
@explain_option
@json_option
def command(
    speed_m_s: float | None,
    distance_m: float | None,
    direction: str | None,
    corner: bool,
    towards: bool,
    keeper_rate: float,
    rate_rad_s: float,
    jitter_s: float | None,
    session: Path | None,
    rig_path: Path,
    explain: bool,
    as_json: bool,
) -> None:
    """Where the ghost comes from, in micrometres and scan pixels, and what to change first.

    For the rig's own subject, or the one given. The exit code is 1 when the pair is not kept: not sharp, or not
    free of fringes, by the tolerance of the rig; the same verdict as that of 'coincide limits'.

    Example: coincide budget --subject-speed "5 km/h" --distance "8 m" --turning held
    """
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.topics.planning import basis_asked, say_source, subject_asked
    from coincide.planning.budget import budget
    from coincide.report.json.planning import budget_json

    basis = basis_asked(rig_path, session, jitter_s)
    subject = subject_asked(
        basis.rig, speed_m_s, distance_m, direction="towards" if towards else direction, corner=corner
    )
    found = budget(
        basis.rig,
        basis.model,
        subject=subject,
        rate_rad_s=rate_rad_s,
        shots=basis.shots,
        keeper_rate=keeper_rate,
    )
    if as_json:
        print_json(budget_json(basis, found))
    else:
        say_source(basis)
        _show(basis, found, explain=explain)
    if not found.verdict.kept:
        click.get_current_context().exit(1)


def _show(basis: Basis, found: Budget, *, explain: bool) -> None:
    from coincide.cli.terminal.show import say, table
    from coincide.cli.terminal.topics.planning import say_basis, say_chain
    from coincide.report.words import planning as words
    from coincide.report.words.verdict import verdict_lines

    for line in verdict_lines(found.verdict):
        say(line)
    say_basis(basis)
    for line in (*words.budget_lines(basis.rig, found), *(() if explain else words.folded(found))):
        say(line)
    table(words.BUDGET_COLUMNS, words.budget_rows(basis.rig, found, every=explain))
    if explain:
        say_chain(found.chain)
