"""`coincide scans`: register two scans, measure what moved between them, merge them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coincide.cli.terminal.options import json_option, rig_option
from coincide.cli.terminal.quantities import quantity_above_zero
from coincide.cli.terminal.scans import align_options, compared, file_options, merge_options, mount_off

if TYPE_CHECKING:
    from coincide.ghost.mount.error import MountError
    from coincide.report.scan_files import Wanted
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
@file_options
@merge_options
@click.option(
    "--print",
    "print_m",
    type=quantity_above_zero("length"),
    help="With --fringes: the long side of a print, for widths in it.",
)
@click.option("--roll", type=FILE, help="Instead of A and B: a CSV table with the columns a,b,frame.")
@click.option(
    "--frames", type=FILE, help="With --roll: the frame log, as 'coincide framelog --csv' wrote it."
)
@align_options
@rig_option
@json_option
def command(
    a: Path | None,
    b: Path | None,
    dpi: float | None,
    richest: str,
    wanted: Wanted,
    print_m: float | None,
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

    Example: coincide scans frame-07-a.tif frame-07-b.tif --dpi 4000 --merged frame-07.tif
    """
    if roll is not None:
        if a is not None or wanted.pictures or wanted.registered or wanted.fringe_map or align:
            raise click.UsageError(
                "--roll takes the scans from its table; leave out A, B, --pictures, --registered, --fringes, --align."
            )
        _roll(roll, frames, dpi, wanted, as_json=as_json)
    elif a is None or b is None:
        raise click.UsageError("Name the scan of body A and the scan of body B, or a table with --roll.")
    elif frames is not None:
        raise click.UsageError("--frames goes with --roll; for one pair use 'coincide ghost --frames'.")
    elif (near or far_m is not None) and not align:
        raise click.UsageError("--near and --distance go with --align.")
    else:
        wanted.check()
        found = compared(a, b, dpi, richest)
        mount = mount_off(found, rig_path, near, far_m) if align else None
        _show(found, (a, b), wanted, mount, print_m, as_json=as_json)


def _show(
    found: Compared,
    paths: tuple[Path, Path],
    wanted: Wanted,
    mount: tuple[MountError, Rig] | None,
    print_m: float | None,
    *,
    as_json: bool,
) -> None:
    from coincide.cli.terminal.scans import say_pair
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import progress
    from coincide.report.json.scans import scans_json
    from coincide.report.scan_files import make

    with progress("files", 100) as bar:
        task = bar.task_ids[0]
        made = make(
            wanted,
            found,
            paths,
            lambda what, part: bar.update(task, completed=round(100 * part), description=what),
        )
    if as_json:
        print_json(scans_json(found, made, None if mount is None else mount[0]))
    else:
        say_pair(found, made, mount, print_m)
    if made.failed:
        from coincide.errors import BadInput

        raise BadInput(" ".join(made.failed))


def _roll(roll: Path, frames: Path | None, dpi: float | None, wanted: Wanted, *, as_json: bool) -> None:
    from coincide.cli.terminal.scans import say_roll
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import progress
    from coincide.ghost.roll import read_roll
    from coincide.report.json.scans import roll_json
    from coincide.report.roll_files import compare_and_merge
    from coincide.session.frames import read_frames

    lines = read_roll(roll)
    log = () if frames is None else read_frames(frames)
    with progress("pairs", len(lines)) as bar:
        rows, summary, written = compare_and_merge(
            lines, log, dpi, wanted, lambda: bar.advance(bar.task_ids[0])
        )
    answer: Any = roll_json(rows, summary, written)
    if as_json:
        print_json(answer)
    else:
        say_roll(rows, summary, written)
