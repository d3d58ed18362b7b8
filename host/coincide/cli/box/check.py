"""`coincide box check`: the guided bench test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.bench.check.stages import STAGES
from coincide.cli.terminal.options import json_option, port_options, rig_option
from coincide.cli.terminal.topics.circuits import NearChoice, circuit_options

if TYPE_CHECKING:
    from coincide.bench.check.evening import Checked


@click.command("check")
@click.option(
    "--only",
    multiple=True,
    type=NearChoice(STAGES),
    help="Only this stage; may be given again. Without it: all, one after another.",
)
@click.option("--zero", "only_zero", is_flag=True, help="Only the zero check, like '--only zero'.")
@click.option("--no-zero", "no_zero", is_flag=True, help="Leave the zero check (loopback plug) out.")
@circuit_options(usual=False)
@rig_option
@port_options
@json_option
def check(
    only: tuple[str, ...],
    only_zero: bool,
    no_zero: bool,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    as_json: bool,
    **circuits: str | None,
) -> None:
    """The guided bench test, stage by stage; each stage may be left out.

    \b
    controls  interlock open and closed, each button down and up
    lights    both lights of the box
    outputs   each release output clicked, you confirm
    zero      loopback plug in: the isolators timed
    sync      each sync contact seen
    gate      each gate sensor seen
    lamps     the lamp row run through

    What it finds is kept, dated, with the box's identity and the circuits fitted; later measurements subtract
    its zero check. Say which circuits a body got, as --sync-a wetted, once and whenever you change one. Exit
    code 1 when something failed.

    \b
    Example:
      coincide box check --port /dev/ttyACM0
      coincide box check --port /dev/ttyACM0 --only sync --sync-a wetted
    """
    from coincide.bench.check.evening import bench_check
    from coincide.bench.opening.box import Where, opened_box
    from coincide.cli.terminal.person import AtTerminal
    from coincide.rig.file import load_rig

    chosen = {*only, *(("zero",) if only_zero else ())} or set(STAGES)
    if no_zero and "zero" in {*only, *(("zero",) if only_zero else ())}:
        raise click.UsageError("The zero check is both asked for and left out: give one of the two.")
    stages = [one for one in STAGES if one in chosen and not (no_zero and one == "zero")]
    # A bench evening comes before there is a rig file.
    rig = load_rig(rig_path) if rig_path.exists() else None
    person = AtTerminal(as_json=as_json)
    with opened_box(rig, Where(port, world, seed, world_else="loopback both"), person, rig_path) as client:
        checked = bench_check(client, circuits, stages, person)
    _show(checked, as_json=as_json)
    if checked.stopped is not None:
        raise checked.stopped
    click.get_current_context().exit(0 if checked.record.passed else 1)


def _show(checked: Checked, *, as_json: bool) -> None:
    """The record on the screen, and where it is kept."""
    from coincide.bench.check.record import OUTCOMES, REHEARSED, zero_correction
    from coincide.bench.objects import as_object
    from coincide.cli.terminal import show
    from coincide.report.words.box import bench_sentence
    from coincide.timing.budget.known import MEASURE_ZERO

    record = checked.record
    if as_json:
        show.as_json(as_object(checked))
        return
    show.say(bench_sentence([(one.name, one.passed) for one in record.items], simulated=checked.simulated))
    words = OUTCOMES | ({True: REHEARSED} if checked.simulated else {})
    rows = [(one.name, words[one.passed], one.say) for one in record.items]
    if checked.kept is not None:
        show.say(f"Kept as {checked.kept}")
        zero = zero_correction(record.box_uid)
        if zero is not None and zero.stale is not None:
            show.say(f"{zero.stale} {MEASURE_ZERO}")
    show.table(("tested", "result", "what was seen"), rows)
