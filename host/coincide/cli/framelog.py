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

    With --entry the log is joined to the numbers on the roll: "frame 1 of the roll was log entry 12".

    Example: coincide framelog --port /dev/ttyACM0 --entry 12 --csv roll-7.csv
    """
    from coincide.box.framelog import read_framelog
    from coincide.cli.opening import opened_box
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import progress, say, table
    from coincide.report.words.frames import FRAME_COLUMNS, frame_rows, frame_summary
    from coincide.rig.file import load_rig
    from coincide.session.frames import joined_to_roll, write_frames

    if clear and csv_path is None:
        raise click.UsageError(
            "--clear needs --csv: the frames are only forgotten once they are written here."
        )
    with opened_box(load_rig(rig_path), port, world, seed) as client, progress("frame log", None) as bar:
        log = read_framelog(
            client, lambda done, all_: bar.update(bar.task_ids[0], completed=done, total=all_)
        )
        frames = log.frames if entry is None else joined_to_roll(log.frames, entry, frame)
        if csv_path is not None:
            write_frames(csv_path, frames)
        if clear:
            client.framelog_clear(len(log.frames))
    if as_json:
        print_json(
            {
                "format": "coincide-framelog-result",
                "version": 1,
                "capacity": log.capacity,
                "damaged": log.damaged,
                "frames": frames,
                "csv": csv_path,
                "cleared": clear,
            }
        )
        return
    table(FRAME_COLUMNS, frame_rows(frames))
    for line in frame_summary(log, frames, csv_path, cleared=clear):
        say(line)
