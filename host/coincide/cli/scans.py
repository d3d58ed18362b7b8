"""`coincide scans`: register two scans and measure what moved between them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import json_option, rig_option
from coincide.cli.terminal.quantities import quantity_above_zero

if TYPE_CHECKING:
    from coincide.ghost.mount.error import MountError
    from coincide.rig.model import Rig
    from coincide.scans.pair import Compared

FILE = click.Path(path_type=Path)


@click.command("scans")
@click.argument("a", type=FILE, required=False)
@click.argument("b", type=FILE, required=False)
@click.option(
    "--dpi", type=click.FloatRange(1, 50_000), help="Scan resolution of A, where the file does not say."
)
@click.option(
    "--model",
    "richest",
    type=click.Choice(["similarity", "homography", "smooth"]),
    default="smooth",
    show_default=True,
    help="The richest map that may be used; a plainer one is, unless the scans need more.",
)
@click.option(
    "--pictures", type=FILE, help="Draw the overlay, the arrows and the loupe strip into this folder."
)
@click.option("--registered", type=FILE, help="Write B laid on A as a new TIFF, its bits kept.")
@click.option("--roll", type=FILE, help="Instead of A and B: a CSV table with the columns a,b,frame.")
@click.option(
    "--frames", type=FILE, help="With --roll: the frame log, as 'coincide framelog --csv' wrote it."
)
@click.option(
    "--align", is_flag=True, help="Say what to turn on body B's mount: the scene must have stood still."
)
@click.option(
    "--near",
    type=(float, float, quantity_above_zero("length")),
    multiple=True,
    metavar="X Y DISTANCE",
    help="With --align: a thing that stood still near by, its place in A in pixels, its distance.",
)
@click.option(
    "--distance",
    "far_m",
    type=quantity_above_zero("length"),
    default=None,
    help="With --align: how far away the scene is. Default: far.",
)
@rig_option
@json_option
def command(
    a: Path | None,
    b: Path | None,
    dpi: float | None,
    richest: str,
    pictures: Path | None,
    registered: Path | None,
    roll: Path | None,
    frames: Path | None,
    align: bool,
    near: tuple[tuple[float, float, float], ...],
    far_m: float | None,
    rig_path: Path,
    as_json: bool,
) -> None:
    """Lay the scan of body B on that of body A by what stood still, and measure what moved.

    Reads TIFF (8 or 16 bit), PNG and JPEG. The scans may differ in size, resolution, crop and tone, and one
    may be mirrored; they may be turned by up to 5 degrees against each other.

    Example: coincide scans frame-07-a.tif frame-07-b.tif --dpi 4000 --pictures frame-07
    """
    if roll is not None:
        if a is not None or pictures or registered:
            raise click.UsageError(
                "--roll takes the scans from its table; leave out A, B, --pictures and --registered."
            )
        _roll(roll, frames, dpi, as_json=as_json)
    elif a is None or b is None:
        raise click.UsageError("Name the scan of body A and the scan of body B, or a table with --roll.")
    elif frames is not None:
        raise click.UsageError("--frames goes with --roll; for one pair use 'coincide ghost --frames'.")
    elif (near or far_m is not None) and not align:
        raise click.UsageError("--near and --distance go with --align.")
    else:
        found = _compared(a, b, dpi, richest)
        mount = _mount(found, rig_path, near, far_m) if align else None
        _show(found, _written(found, b, pictures, registered), mount, as_json=as_json)


def _compared(a: Path, b: Path, dpi: float | None, richest: str) -> Compared:
    from coincide.cli.terminal.show import progress
    from coincide.scans.pair import STEPS, compare

    with progress("scans", STEPS) as bar:
        task = bar.task_ids[0]
        return compare(a, b, dpi, richest, lambda what: bar.update(task, advance=1, description=what))


def _mount(
    found: Compared, rig_path: Path, near: tuple[tuple[float, float, float], ...], far_m: float | None
) -> tuple[MountError, Rig]:
    from coincide.ghost.mount.error import FAR_M, NearThing, mount_error
    from coincide.rig.file import load_rig

    rig = load_rig(rig_path)
    things = [NearThing((x, y), distance_m) for x, y, distance_m in near]
    return mount_error(found, rig, things, FAR_M if far_m is None else far_m), rig


def _written(found: Compared, b: Path, pictures: Path | None, registered: Path | None) -> list[str]:
    from coincide.cli.terminal.show import progress

    written: list[Path] = []
    if pictures is not None:
        from coincide.report.plots.scans import NAMES, draw_pictures

        with progress("pictures", len(NAMES)) as bar:
            written += draw_pictures(found, pictures, lambda: bar.advance(bar.task_ids[0]))
    if registered is not None:
        from coincide.scans.resample import write_registered

        with progress("registered pair", 100) as bar:
            task = bar.task_ids[0]
            written.append(
                write_registered(
                    found, b, registered, lambda part: bar.update(task, completed=round(100 * part))
                )
            )
    return [str(path) for path in written]


def _show(
    found: Compared, written: list[str], mount: tuple[MountError, Rig] | None, *, as_json: bool
) -> None:
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say, table
    from coincide.report.json.scans import scans_json
    from coincide.report.words import scans as words
    from coincide.report.words.mount import MOUNT_COLUMNS, mount_lines, mount_rows

    if as_json:
        print_json(scans_json(found, written, None if mount is None else mount[0]))
        return
    if mount is not None:
        for line in mount_lines(*mount):
            say(line)
        table(MOUNT_COLUMNS, mount_rows(*mount))
    for line in words.pair_lines(found):
        say(line)
    if found.motion.regions:
        table(words.REGION_COLUMNS, words.region_rows(found))
        say("Was it timing? Save this with --json and ask 'coincide ghost --scans FILE'.")
    for name in written:
        say(f"Written: {name}")


def _roll(roll: Path, frames: Path | None, dpi: float | None, *, as_json: bool) -> None:
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import progress, say, table
    from coincide.ghost.roll import compare_roll, read_roll
    from coincide.report.json.scans import roll_json
    from coincide.report.words import scans as words
    from coincide.session.frames import read_frames

    lines = read_roll(roll)
    log = () if frames is None else read_frames(frames)
    with progress("pairs", len(lines)) as bar:
        rows, summary = compare_roll(lines, log, dpi, lambda: bar.advance(bar.task_ids[0]))
    if as_json:
        print_json(roll_json(rows, summary))
        return
    table(words.ROLL_COLUMNS, words.roll_rows(rows))
    for line in words.roll_lines(summary):
        say(line)
