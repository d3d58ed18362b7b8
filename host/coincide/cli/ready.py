"""`coincide ready`: before a shoot, is the rig still what was calibrated?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, yes_option

if TYPE_CHECKING:
    from coincide.bench.readiness import Judged


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
    from coincide.bench.opening.box import Where, opened_box
    from coincide.bench.readiness import judge_frames, judge_fresh_pairs
    from coincide.cli.terminal.person import AtTerminal
    from coincide.rig.file import load_rig

    rig, person = load_rig(rig_path), AtTerminal(as_json=as_json)
    if frames_path is not None:
        judged = judge_frames(rig_path, frames_path, person)
    else:
        with opened_box(rig, Where(port, world, seed), person, rig_path) as client:
            judged = judge_fresh_pairs(client, rig_path, person, film=film, confirmed=confirmed)
    _show(judged, as_json=as_json)
    click.get_current_context().exit(0 if judged.ready else 1)


def _show(judged: Judged, *, as_json: bool) -> None:
    """The verdict first, then why."""
    from coincide.bench.objects import as_object
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say

    found = judged.readiness
    if as_json:
        print_json(as_object(judged))
        return
    if found is None:
        say(judged.why)
    else:
        said = "More pairs are needed" if found.verdict == "go on" else found.verdict.capitalize()
        say(f"{said}: {judged.why}")
        if found.verdict == "touch up":
            offset_s = judged.offset_s + found.touch_up_s
            side = "A" if offset_s > 0 else "B"
            say(
                f"The offset becomes {side} {abs(offset_s) * 1e3:.2f}ms; to have that kept: coincide calibrate"
            )
    if judged.calibration is not None:
        say(f"Compared with {judged.calibration}")
