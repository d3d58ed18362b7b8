"""`coincide box`: find, install, check, simulate and set the box."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal import completing
from coincide.cli.terminal.circuits import NearChoice, circuit_options
from coincide.cli.terminal.options import json_option, port_options, rig_option, seed_option

STAGES = ("controls", "lights", "outputs", "sync", "gate", "lamps", "zero")


@click.group("box")
def command() -> None:
    """Find, install, check, simulate and set the box.

    The box is a Pico or Pico 2 board with MicroPython 1.24 or newer and the firmware that
    'coincide box install' puts on it.
    """


@command.command("list")
@click.option(
    "--ask", "named", multiple=True, help="Ask this port too, though it does not look like a board."
)
@json_option
def list_boxes(named: tuple[str, ...], as_json: bool) -> None:
    """List serial devices and say which of them are boxes.

    Only boards are asked; nothing is written to any other device unless --ask names it. Exit code 1 when
    there is no box.

    Example: coincide box list
    """
    from coincide.box.cable.discover import find_boxes
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say, table

    found = find_boxes(named)
    if as_json:
        print_json({"format": "coincide-box-list-result", "version": 1, "devices": found})
    elif not found:
        say("No serial device is connected. Plug the box in with a USB cable that carries data.")
    else:
        table(("port", "what it is"), [(device.device, device.say) for device in found])
    boxes = [device for device in found if device.identity is not None]
    click.get_current_context().exit(0 if boxes else 1)


@command.command("install")
@click.option(
    "--port",
    default=None,
    shell_complete=completing.ports,
    help="Serial port of the board ('coincide box list').",
)
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=None,
    help="Write the files into a folder instead, exactly as they would lie on the board.",
)
def install(port: str | None, folder: Path | None) -> None:
    """Copy the firmware onto a board that runs MicroPython, and verify every file by its hash.

    A box that runs already is updated the same way: it is asked to restart into rescue mode first, which it refuses
    while it is armed. Its settings, presets and frame log stay.

    Example: coincide box install --port /dev/ttyACM0
    """
    from coincide.box.install import Progress, install_to_directory
    from coincide.box.install import install as install_on_board
    from coincide.cli.terminal.show import progress, say

    if (port is None) == (folder is None):
        raise click.UsageError("Give either --port or --to.")
    if folder is not None:
        say(f"Wrote {install_to_directory(folder).files} files to {folder}")
        return
    assert port is not None  # one of the two was given
    with progress("installing", None) as bar:
        task = bar.task_ids[0]

        def shown(now: Progress) -> None:
            bar.update(task, description=now.name, completed=now.bytes_done, total=now.bytes_all)

        done = install_on_board(port, shown)
    say(
        f"MicroPython {done.micropython} on {port}: {done.written} of {done.files} files written, all verified. "
        f"Next: coincide box check --port {port}"
    )


@command.command("check")
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
    sync      each sync contact seen
    gate      each gate sensor seen
    lamps     the lamp row run through
    zero      loopback plug in: the isolators timed

    What it finds is kept, dated, with the box's identity and the circuits fitted; later measurements subtract
    its zero check. Say which circuits a body got, as --sync-a wetted, once and whenever you change one. Exit
    code 1 when something failed.

    \b
    Example:
      coincide box check --port /dev/ttyACM0
      coincide box check --port /dev/ttyACM0 --only sync --sync-a wetted
    """
    from coincide.cli.bench import bench_check
    from coincide.cli.opening import opened_box
    from coincide.rig.file import load_rig

    chosen = {*only, *(("zero",) if only_zero else ())} or set(STAGES)
    if no_zero and "zero" in {*only, *(("zero",) if only_zero else ())}:
        raise click.UsageError("The zero check is both asked for and left out: give one of the two.")
    stages = [one for one in STAGES if one in chosen and not (no_zero and one == "zero")]
    simulated = world or "loopback both"
    # A bench evening comes before there is a rig file.
    rig = load_rig(rig_path) if rig_path.exists() else None
    with opened_box(rig, port, simulated if port is None else None, seed) as client:
        passed = bench_check(client, circuits, stages, as_json=as_json)
    click.get_current_context().exit(0 if passed else 1)


@command.command("serve")
@click.argument("world", required=False, shell_complete=completing.worlds)
@seed_option
@rig_option
@click.option("--list", "only_list", is_flag=True, help="List the invented rigs and leave.")
def serve(world: str | None, seed: int, rig_path: Path, only_list: bool) -> None:
    """Offer the simulated box on a pseudo-terminal, in real time, until Ctrl-C (not on Windows).

    Anything that opens a serial port can talk to it. Without a WORLD it plays the demo's invented rig,
    dressed like the rig file, or like the one of 'coincide rig new' where there is none.

    Example: coincide box serve
    """
    from coincide.box.simulated.serve import serve as serve_world
    from coincide.box.simulated.worlds import WORLDS, world_spec
    from coincide.cli.simulation import world_for
    from coincide.cli.terminal.show import say, table
    from coincide.rig.file import load_rig, parse_rig
    from coincide.rig.new import TEMPLATE

    if only_list:
        table(("world", "what is special there"), [(one.name, one.say) for one in WORLDS])
        return
    if rig_path.exists():
        played = world_for(load_rig(rig_path), world)
    elif world is not None:
        played = world_spec(world)
    else:
        # The rig that 'coincide rig new' writes: the next thing somebody tries with it.
        played = world_for(parse_rig(TEMPLATE), None)

    def ready(name: str) -> None:
        say(f"The simulated box is on {name}; nothing real is connected. Try:")
        say(f"  coincide calibrate --port {name}")
        say("Ctrl-C ends it.")

    serve_world(played, seed=seed, ready=ready, stop=lambda: False)


@command.command("settings")
@click.option("--forget", default=None, help="Empty the preset of this name.")
@click.option(
    "--store", is_flag=True, help="Store the newest calibration of the rig's shutter times as a preset."
)
@click.option("--use", default=None, help="Put the preset of this name in use.")
@rig_option
@port_options
@json_option
def settings(
    forget: str | None,
    store: bool,
    use: str | None,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    as_json: bool,
) -> None:
    """Show what the box remembers: its numbers and its presets, one for each pair of shutter times.

    Example: coincide box settings --port /dev/ttyACM0 --use 1/60+1/30
    """
    from coincide.cli.box_settings import change_settings, show_settings
    from coincide.cli.opening import opened_box
    from coincide.rig.file import load_rig

    rig = load_rig(rig_path) if store or rig_path.exists() else None
    with opened_box(rig, port, world, seed) as client:
        change_settings(client, rig, rig_path, forget=forget, store=store, use=use)
        show_settings(client, as_json=as_json)
