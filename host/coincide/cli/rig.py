"""`coincide rig`: describe the rig in a file, show it, check it."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, rig_option
from coincide.cli.terminal.show import as_json as print_json
from coincide.cli.terminal.show import say, table


@click.group("rig")
def command() -> None:
    """Describe your rig in a file, show it, check it.

    Everything else reads this file: which bodies, how their shutters run, how they are mounted, what
    tolerance you ask for.
    """


@command.command("new")
@click.argument("path", type=click.Path(path_type=Path), default=Path("rig.toml"))
def new(path: Path) -> None:
    """Write a commented rig file to start from. An existing file is never touched.

    Example: coincide rig new rig.toml
    """
    from coincide.rig.new import write_new

    written = write_new(path)
    say(f"Wrote {written}: an invented rig, every key explained. Replace its values with your own, then")
    say(f"  coincide rig check {written}")


@command.command("show")
@click.argument("path", type=click.Path(path_type=Path), required=False)
@rig_option
@json_option
def show(path: Path | None, rig_path: Path, as_json: bool) -> None:
    """Show what the rig file says, and what the mounts make of it.

    Which way each curtain runs over the scene, which picture is mirrored, how much skew that leaves across
    the frame after the best single offset, and whether turning a body would leave less.

    Example: coincide rig show rig.toml
    """
    from coincide.report.json.planning import geometry_json
    from coincide.report.words.rig import geometry_lines, rig_rows
    from coincide.rig.file import load_rig

    rig = load_rig(path or rig_path)
    if as_json:
        print_json({**rig.model_dump(mode="json"), "geometry": geometry_json(rig)})
        return
    for line in geometry_lines(rig):
        say(line)
    table(("", "A", "B"), rig_rows(rig), title=f"{rig.name}: exposures {' and '.join(rig.exposures)}")


@command.command("check")
@click.argument("path", type=click.Path(path_type=Path), required=False)
@rig_option
@json_option
def check(path: Path | None, rig_path: Path, as_json: bool) -> None:
    """Read the rig file and say what is wrong or doubtful in it.

    Exit code 2 when it cannot be used, 0 otherwise; doubts are said and leave the file usable.

    Example: coincide rig check rig.toml
    """
    from coincide.rig.check import doubts, notes
    from coincide.rig.file import load_rig

    chosen = path or rig_path
    rig = load_rig(chosen)
    found = doubts(rig)
    if as_json:
        print_json({"file": chosen, "rig": rig.name, "usable": True, "doubts": found, "notes": notes(rig)})
        return
    say(f"{chosen}: {rig.name} can be used" + ("; see the doubts below." if found else "."))
    for doubt in found:
        say(f"Doubtful: {doubt}")
    for note in notes(rig):
        say(f"Note: {note}")
