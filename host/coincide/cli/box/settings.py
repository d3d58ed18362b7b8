"""`coincide box settings`: what the box remembers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, yes_option

if TYPE_CHECKING:
    from coincide.bench.box_settings import OnTheBench, Remembered


@click.command("settings")
@click.option("--forget", default=None, help="Empty the preset of this name.")
@click.option(
    "--store", is_flag=True, help="Store the newest calibration of the rig's shutter times as a preset."
)
@click.option("--any-box", is_flag=True, help="With --store: though it was calibrated with another box.")
@click.option("--use", default=None, help="Put the preset of this name in use.")
@rig_option
@port_options
@yes_option
@json_option
def settings(
    forget: str | None,
    store: bool,
    use: str | None,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    any_box: bool,
    confirmed: bool,
    as_json: bool,
) -> None:
    """Show what the box remembers: its numbers and its presets, one for each pair of shutter times.

    Example: coincide box settings --port /dev/ttyACM0 --use 1/60+1/30
    """
    from coincide.bench.box_settings import Change, change_settings, remembered
    from coincide.bench.opening.box import Where, opened_box
    from coincide.cli.terminal.person import AtTerminal
    from coincide.rig.file import load_rig

    rig = load_rig(rig_path) if store or rig_path.exists() else None
    person = AtTerminal(as_json=as_json)
    with opened_box(rig, Where(port, world, seed), person, rig_path) as client:
        change = Change(forget, use, store, any_box=any_box, confirmed=confirmed)
        change_settings(client, rig, rig_path, change, person)
        held = remembered(client)
    _show(held, as_json=as_json)


def _show(held: Remembered, *, as_json: bool) -> None:
    """What it does alone, then numbers and presets as stored."""
    from coincide.bench.check.circuits import circuit_rows
    from coincide.bench.objects import as_object
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say, table
    from coincide.report.words.box import alone_sentence
    from coincide_wiring.netlist import Build

    if as_json:
        print_json(as_object(held))
        return
    if not held.ok:
        say(held.say)
    say(alone_sentence(held.presets, held.used))
    if held.bench is None and not held.simulated:
        say(
            "This box was never on the bench of this computer: 'coincide box check' tests it and keeps its circuits."
        )
    elif held.bench is not None:
        _say_bench(held.bench)
    table(("setting", "value"), [(name, str(value)) for name, value in held.values.items()])
    rows = [
        (
            str(preset["name"]),
            f"A {preset['delay_a_ns'] * 1e-6:.3f} ms"
            if preset["delay_a_ns"]
            else f"B {preset['delay_b_ns'] * 1e-6:.3f} ms",
            f"{preset['tolerance_ns'] * 1e-6:.2f} ms",
        )
        for preset in held.presets
    ]
    if rows:
        table(("preset", "holds back", "tolerance"), rows)
    if held.bench is not None:
        built = Build(held.bench.sync, held.bench.release, held.bench.gate)
        table(("circuits", "body A", "body B"), circuit_rows(built))


def _say_bench(bench: OnTheBench) -> None:
    from coincide.cli.terminal.show import say
    from coincide.timing.budget.known import MEASURE_ZERO

    if bench.zero_check_at is None:
        say(
            "No zero check yet: with the loopback plug in, 'coincide box check --zero' measures the isolators."
        )
    elif bench.zero_check_stale is not None:
        say(f"{bench.zero_check_stale} {MEASURE_ZERO}")
    else:
        say(
            f"Circuits as recorded on {bench.recorded_at[:10]}; zero check of {bench.zero_check_at[:10]}, in force."
        )
