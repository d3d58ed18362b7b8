"""`coincide framelog`: read what the box kept of the frames shot in the field."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option


@click.command("framelog")
@click.option(
    "--csv", "csv_path", type=click.Path(path_type=Path), default=None, help="Write the frames to a new file."
)
@click.option(
    "--entry", type=click.IntRange(0), default=None, help="Log entry of the first frame of the roll."
)
@click.option("--frame", type=click.IntRange(1), default=1, show_default=True, help="Its number on the roll.")
@click.option(
    "--clear", is_flag=True, help="Empty the log in the box once it is read and written (needs --csv)."
)
@rig_option
@port_options
@json_option
def command(
    csv_path: Path | None,
    entry: int | None,
    frame: int,
    clear: bool,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    as_json: bool,
) -> None:
    """Read the box's log: for every frame its skew, verdict and the preset that was on.

    With --entry the log is joined to the numbers on the roll: "frame 1 of the roll was log entry 12". Without a
    box, the log of an invented day is read.

    Example: coincide framelog --port /dev/ttyACM0 --entry 12 --csv roll-7.csv
    """
    from coincide.bench.objects import as_object
    from coincide.bench.opening.box import Where, opened_box
    from coincide.bench.roll import read_roll
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import progress, say, table
    from coincide.report.words.frames import FRAME_COLUMNS, frame_rows, frame_summary
    from coincide.rig.file import load_rig

    if clear and csv_path is None:
        raise click.UsageError(
            "--clear needs --csv: the frames are only forgotten once they are written here."
        )
    first = None if entry is None else (entry, frame)
    with progress("frame log", None) as bar:
        person = AtTerminal(as_json=as_json, bar=bar)
        with opened_box(
            load_rig(rig_path), Where(port, world, seed, world_else="a day afield"), person, rig_path
        ) as client:
            read = read_roll(client, person, csv_path, first, clear=clear)
    if as_json:
        print_json(as_object(read))
        return
    for line in frame_summary(read.log, read.frames, csv_path, cleared=clear):
        say(line)
    if read.frames:
        table(FRAME_COLUMNS, frame_rows(read.frames))
