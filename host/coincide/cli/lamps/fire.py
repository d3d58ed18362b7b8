"""`coincide lamps fire`: light the row, fire the pairs, keep when each lamp was lit."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, session_option, yes_option
from coincide.cli.terminal.quantities import quantity_above_zero


@click.command("fire")
@click.option(
    "-n",
    "--pairs",
    type=click.IntRange(1, 200),
    default=6,
    show_default=True,
    help="Pairs of frames with the fast row; one more comes first, with a slow one.",
)
@click.option(
    "--step",
    "step_s",
    type=quantity_above_zero("time"),
    default=None,
    help="Time each lamp of the fast row is lit, such as '1 ms'. Default: as fast as the exposures allow.",
)
@click.option(
    "--off-line",
    "off_line_m",
    type=quantity_above_zero("length", or_zero=True),
    default="1 mm",
    show_default=True,
    help="How far the row's image on film may lie from the line through the frame's centre, across the row.",
)
@click.option("--offset", "offset_text", default=None, help="Offset that is on, such as 'A 18.2ms'.")
@session_option("Session file. Default: a new one in 'sessions'.")
@rig_option
@port_options
@yes_option
@json_option
def fire(
    pairs: int,
    step_s: float | None,
    off_line_m: float,
    offset_text: str | None,
    out: Path | None,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    confirmed: bool,
    as_json: bool,
) -> None:
    """Light the row, fire the pairs, keep when each lamp was lit.

    It spends a frame more than --pairs in each body. On the simulated box the frames are developed at once,
    and what they show is taken down too.

    Example: coincide lamps fire -n 6 --port /dev/ttyACM0
    """
    from coincide.bench.lamp_row import LampFiring, fire_lamps, read_row
    from coincide.bench.opening.box import Where, opened_box
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.topics.results import show_lamps
    from coincide.report.words.numbers import offset_from_text
    from coincide.rig.file import load_rig

    firing = LampFiring(pairs, step_s, off_line_m, offset_from_text(offset_text), confirmed)
    person = AtTerminal(as_json=as_json)
    with opened_box(load_rig(rig_path), Where(port, world, seed), person, rig_path) as client:
        path = fire_lamps(client, rig_path, firing, out, person)
    show_lamps(read_row(path), as_json=as_json)
