"""`coincide infrared`: focus, aperture and a bracket for the body with infrared film."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import explain_option, json_option, rig_option
from coincide.cli.terminal.quantities import APERTURE


@click.command("infrared")
@click.option("--aperture", type=APERTURE, default=None, help="Of that body. Default: as set in the rig.")
@click.option("--refocused", is_flag=True, help="The focus is moved to the infrared mark already.")
@click.option(
    "--each-way",
    type=click.IntRange(1, 4),
    default=2,
    show_default=True,
    help="Steps of the bracket each way.",
)
@click.option(
    "--step", type=click.FloatRange(0.3, 2.0), default=1.0, show_default=True, help="The step, in stops."
)
@rig_option
@explain_option
@json_option
def command(
    aperture: float | None,
    refocused: bool,
    each_way: int,
    step: float,
    rig_path: Path,
    explain: bool,
    as_json: bool,
) -> None:
    """Focus, aperture and a bracket for the body with infrared film; the presets stay valid.

    The bracket begins at what is set in the rig. The exit code is 1 when the aperture does not hide the focus
    shift and the focus has not been moved (--refocused).

    Example: coincide infrared --aperture f/8 --each-way 2
    """
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say, table
    from coincide.cli.terminal.topics.planning import found_beside, say_chain
    from coincide.planning.infrared.bracket import bracket
    from coincide.planning.infrared.focus import at_aperture, infrared_bodies, infrared_focus
    from coincide.report.json.glass import infrared_json
    from coincide.report.words import infrared as words
    from coincide.rig.file import load_rig

    rig, calibrations = load_rig(rig_path), found_beside(rig_path)
    if aperture is not None:
        for body in infrared_bodies(rig):
            rig = at_aperture(rig, body, aperture)
    plans = [
        (
            infrared_focus(rig, body),
            bracket(rig, body, calibrations, each_way=each_way, step_stops=step),
        )
        for body in infrared_bodies(rig)
    ]
    if as_json:
        print_json(infrared_json(rig, plans))
    else:
        for focus, plan in plans:
            say(words.answer_line(rig, focus, refocused=refocused))
            for line in (*words.reason_lines(focus), words.bracket_line(rig, plan)):
                say(line)
            table(words.bracket_columns(rig), words.bracket_rows(plan, focus), "The bracket")
            if explain:
                say_chain(focus.chain)
    if not refocused and not all(focus.hidden for focus, _ in plans):
        click.get_current_context().exit(1)
