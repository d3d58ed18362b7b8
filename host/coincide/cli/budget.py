"""`coincide budget`: where the ghost comes from."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import explain_option, json_option, rig_option
from coincide.cli.terminal.planning import jitter_option, subject_options
from coincide.cli.terminal.quantities import TURNING

if TYPE_CHECKING:
    from coincide.planning.basis import Basis
    from coincide.planning.budget import Budget


@click.command("budget")
@subject_options
@click.option("--towards", is_flag=True, help="It comes towards the camera (reckoned in the corner).")
@click.option(
    "--turning",
    "rate_rad_s",
    type=TURNING,
    default="tripod",
    show_default=True,
    help="How fast the rig turns: held, braced, tripod, or a rate such as '2 deg/s'.",
)
@jitter_option
@rig_option
@explain_option
@json_option
def command(
    speed_m_s: float | None,
    distance_m: float | None,
    corner: bool,
    towards: bool,
    rate_rad_s: float,
    jitter_s: float | None,
    rig_path: Path,
    explain: bool,
    as_json: bool,
) -> None:
    """Where the ghost comes from, in micrometres and scan pixels, and what to change first.

    For the rig's own subject, or the one given. The exit code is 1 when the sum is more than the rig's
    tolerance allows on film.

    Example: coincide budget --subject-speed "5 km/h" --distance "8 m" --turning held
    """
    from coincide.cli.terminal.planning import basis_beside, say_if_simulated, subject_asked
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.planning.budget import budget
    from coincide.report.json.planning import budget_json
    from coincide.report.words.planning import within

    basis = basis_beside(rig_path, jitter_s)
    subject = subject_asked(basis.rig, speed_m_s, distance_m, towards=towards, corner=corner)
    found = budget(basis.rig, basis.model, subject=subject, rate_rad_s=rate_rad_s, shots=basis.shots)
    if as_json:
        print_json(budget_json(basis, found))
    else:
        say_if_simulated(basis.simulated)
        _show(basis, found, explain=explain)
    if not within(found):
        click.get_current_context().exit(1)


def _show(basis: Basis, found: Budget, *, explain: bool) -> None:
    from coincide.cli.terminal.planning import say_basis, say_chain
    from coincide.cli.terminal.show import say, table
    from coincide.report.words import planning as words

    say_basis(basis)
    table(words.BUDGET_COLUMNS, words.budget_rows(found), words.capital(words.subject_words(found.subject)))
    for line in words.budget_lines(basis.rig, found):
        say(line)
    if explain:
        say_chain(found.chain)
