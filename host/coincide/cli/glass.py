"""`coincide glass`: the optics of the splitter."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import explain_option, folder_option, json_option, rig_option
from coincide.cli.terminal.quantities import APERTURE, LENGTH


@click.command("glass")
@click.option(
    "--near", "near_m", type=LENGTH, default="2 m", show_default=True, help="The nearest that matters."
)
@click.option("--far", "far_m", type=LENGTH, default=None, help="Farther off. Default: the rig's subject.")
@click.option(
    "--pupil",
    "pupil_m",
    type=LENGTH,
    default=None,
    help="Try this distance from entrance pupil to glass, such as '90 mm', for the body that sees the reflection.",
)
@click.option("--aperture", type=APERTURE, default=None, help="For both bodies. Default: as set in the rig.")
@folder_option("Folder for the drawing to scale: glass.pdf, glass.png, glass.svg.")
@rig_option
@explain_option
@json_option
def command(
    near_m: float,
    far_m: float | None,
    pupil_m: float | None,
    aperture: float | None,
    folder: Path | None,
    rig_path: Path,
    explain: bool,
    as_json: bool,
) -> None:
    """How large the glass must be, where both entrance pupils belong, and what plate and coating do.

    Reckoned from the rig: [splitter.plate], bodies.*.mount.pupil, frames and lenses. The exit code is 1 when
    the glass is too small for both views, or the pupils are so far out of place that it shows near by.

    Example: coincide glass --near "2 m" --to plan
    """
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say, table
    from coincide.cli.terminal.topics.planning import say_chain
    from coincide.planning.glass.plan import glass_plan
    from coincide.report.json.glass import glass_json
    from coincide.report.plots.glass import write_glass_drawing
    from coincide.report.words import glass as words
    from coincide.rig.file import load_rig

    plan = glass_plan(
        load_rig(rig_path), near_m=near_m, far_m=far_m, pupil_m=pupil_m, apertures=(aperture, aperture)
    )
    pictures = [] if folder is None else write_glass_drawing(plan, folder)
    if as_json:
        print_json(glass_json(plan, pictures))
    else:
        for line in (words.answer_line(plan), *words.reason_lines(plan)):
            say(line)
        table(words.columns(plan), words.rows(plan), "On film")
        for path in pictures:
            say(f"Wrote {path}")
        if explain:
            say_chain(plan.chain)
    if not (plan.large_enough and plan.in_place):
        click.get_current_context().exit(1)
