"""`coincide limits`: what the rig can stand."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import explain_option, folder_option, json_option, rig_option
from coincide.cli.terminal.quantities import FOCAL_LENGTH
from coincide.cli.terminal.topics.planning import (
    from_session_option,
    jitter_option,
    keepers_option,
    subject_options,
    turning_option,
)

if TYPE_CHECKING:
    from coincide.planning.plan import LimitsPlan


@click.command("limits")
@keepers_option
@click.option(
    "--lens",
    "focal_lengths_m",
    type=FOCAL_LENGTH,
    multiple=True,
    help="A lens for the table, such as '50 mm'; give it again for more. Default: the rig's.",
)
@subject_options
@turning_option
@jitter_option
@from_session_option
@folder_option("Folder for the pictures: the limits, and the skew over the frame.")
@rig_option
@explain_option
@json_option
def command(
    keeper_rate: float,
    focal_lengths_m: tuple[float, ...],
    speed_m_s: float | None,
    distance_m: float | None,
    direction: str | None,
    corner: bool,
    rate_rad_s: float,
    jitter_s: float | None,
    session: Path | None,
    folder: Path | None,
    rig_path: Path,
    explain: bool,
    as_json: bool,
) -> None:
    """What the rig can stand: the fastest subject by distance and lens, and who may come how near.

    Rests on the newest calibration beside the rig of the pair of shutter times that is set in it; without one,
    --session names what else was measured, or --jitter lets a figure stand in. The verdict on one subject, the
    rig's own or the one given with --subject-speed, --distance or --direction, comes first; the exit code is 1
    when it is not kept. It is the verdict of 'coincide budget'.

    Example: coincide limits --keepers 0.9 --subject-speed "15 km/h" --distance "10 m" --to plan
    """
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.topics.planning import basis_asked, say_source, subject_asked
    from coincide.planning.plan import limits_plan
    from coincide.report.json.planning import limits_json

    basis = basis_asked(rig_path, session, jitter_s)
    subject = subject_asked(basis.rig, speed_m_s, distance_m, direction=direction)
    plan = limits_plan(
        basis,
        keeper_rate=keeper_rate,
        point="corner" if corner else "centre",
        focal_lengths_m=focal_lengths_m,
        subject=subject,
        rate_rad_s=rate_rad_s,
    )
    pictures = [] if folder is None else _write(plan, folder)
    if as_json:
        print_json(limits_json(plan, pictures))
    else:
        say_source(basis)
        _show(plan, pictures, explain=explain)
    if plan.asked is not None and not plan.asked.kept:
        click.get_current_context().exit(1)


def _show(plan: LimitsPlan, pictures: list[Path], *, explain: bool) -> None:
    from coincide.cli.terminal.show import say, table
    from coincide.cli.terminal.topics.planning import say_basis, say_chain
    from coincide.report.words import planning as words

    basis, found = plan.basis, plan.found
    for line in () if plan.asked is None else words.asked_lines(plan.asked):
        say(line)
    say_basis(basis)
    say(words.skew_line(basis.rig, found))
    if plan.hand.rate_rad_s:
        say(words.hand_line(plan.hand))
    for path in pictures:
        say(f"Wrote {path}")
    say(words.kept_line(basis.model))
    table(
        words.limits_columns(found, basis.model), words.limits_rows(found, basis.model), "The fastest subject"
    )
    table(
        words.everyday_columns(basis.model),
        words.everyday_rows(basis.rig, basis.model, found),
        "Everyday subjects, all rough, at the fast end of their range",
    )
    if explain:
        say_chain(plan.chain)


def _write(plan: LimitsPlan, folder: Path) -> list[Path]:
    from coincide.durable import make_folder
    from coincide.report.plots.planning import write_planning_plots

    make_folder(folder)
    return write_planning_plots(plan, folder)
