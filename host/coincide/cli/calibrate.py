"""`coincide calibrate`: measure, suggest, set, verify, keep."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, yes_option


@click.command("calibrate")
@click.option(
    "-n",
    "--pairs",
    type=click.IntRange(10, 5000),
    default=40,
    show_default=True,
    help="Pairs to measure with.",
)
@click.option(
    "--verify",
    "fresh_pairs",
    type=click.IntRange(10, 5000),
    default=30,
    show_default=True,
    help="Pairs of the fresh series, fired with the offset on.",
)
@click.option(
    "--anew", is_flag=True, help="Begin from the start although an earlier calibration was broken off."
)
@click.option(
    "--enough", is_flag=True, help="Measure no more pairs than the tolerance asks for; -n is then the most."
)
@rig_option
@port_options
@yes_option
@json_option
def command(
    pairs: int,
    fresh_pairs: int,
    anew: bool,
    enough: bool,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    confirmed: bool,
    as_json: bool,
) -> None:
    """Measure the skew, suggest the offset, set it, fire a fresh series, and keep what was found.

    The calibration is kept, dated, beside the rig file, and the offset in the box as a preset for this pair
    of shutter times. Exit code 1 when the fresh series does not agree with what was predicted: then nothing
    is kept but the measurements. One that was broken off goes on where it stopped.

    Example: coincide calibrate --port /dev/ttyACM0
    """
    from coincide.bench.calibration import calibrate
    from coincide.bench.firing import confirm_checklist
    from coincide.bench.opening.box import Where, opened_box
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.topics.results import show_calibrated
    from coincide.rig.file import load_rig

    rig, person = load_rig(rig_path), AtTerminal(as_json=as_json)
    with opened_box(rig, Where(port, world, seed), person, rig_path) as client:
        items = confirm_checklist(rig, person, simulated=client.identity.simulated, confirmed=confirmed)
        done = calibrate(client, rig_path, (pairs, fresh_pairs), items, person, anew=anew, enough=enough)
    show_calibrated(done, as_json=as_json)
    click.get_current_context().exit(0 if done.kept else 1)
