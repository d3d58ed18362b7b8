"""`coincide box serve`: the simulated box behind a port."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal import completing
from coincide.cli.terminal.options import rig_option, seed_option


@click.command("serve")
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
    from coincide.bench.opening.simulation import world_for
    from coincide.box.simulated.serve import serve as serve_world
    from coincide.box.simulated.worlds import WORLDS, world_spec
    from coincide.cli.terminal.show import say, table
    from coincide.rig.file import load_rig, parse_rig
    from coincide.rig.new import TEMPLATE

    if only_list:
        say(f"{len(WORLDS)} invented rigs; name one with --world, or here.")
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
