"""`coincide ready`: before a shoot, is the rig still what was calibrated?"""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, yes_option


@click.command("ready")
@click.option("--film", is_flag=True, help="Film is loaded: say what it will cost before any frame is spent.")
@click.option(
    "--frames",
    "frames_path",
    type=click.Path(path_type=Path),
    default=None,
    help="Judge the last frames of a frame log ('coincide framelog --csv') instead of firing.",
)
@rig_option
@port_options
@yes_option
@json_option
def command(
    film: bool,
    frames_path: Path | None,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    confirmed: bool,
    as_json: bool,
) -> None:
    """Fire a few pairs with the calibrated offset on: ready, touch up by so much, or not ready, and why.

    It stops as soon as the answer is clear. 'Ready' is only said when a shift of half the tolerance is ruled
    out (docs/ready.md shows how often it errs). Exit code 1 unless ready.

    Example: coincide ready --port /dev/ttyACM0
    """
    from coincide.cli.readiness import judge_frames, judge_fresh_pairs, show_readiness
    from coincide.rig.file import load_rig

    rig = load_rig(rig_path)
    if frames_path is not None:
        judged = judge_frames(rig, rig_path, frames_path)
    else:
        judged = judge_fresh_pairs(rig, rig_path, (port, world, seed), film=film, confirmed=confirmed)
    show_readiness(judged, as_json=as_json)
    click.get_current_context().exit(0 if judged.ready else 1)
