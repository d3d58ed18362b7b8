"""`coincide scans`: register two scans, measure what moved between them, merge them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import json_option, rig_option
from coincide.cli.terminal.quantities import quantity_above_zero
from coincide.cli.terminal.topics.scans import align_options, compared, file_options, merge_options, mount_off

if TYPE_CHECKING:
    from coincide.report.scan_files import Wanted

FILE = click.Path(path_type=Path)
KINDS = ("similarity", "homography", "smooth")


@click.command("scans")
@click.argument("a", type=FILE, required=False)
@click.argument("b", type=FILE, required=False)
@click.option(
    "--dpi", type=click.FloatRange(1, 50_000), help="Scan resolution of A, where the file does not say."
)
@click.option(
    "--model",
    "richest",
    type=click.Choice(KINDS),
    default="smooth",
    show_default=True,
    help="The richest map that may be used; the one that foretells places held out of its fit is.",
)
@click.option(
    "--at-least",
    "plainest",
    type=click.Choice(KINDS),
    default="similarity",
    show_default=True,
    help="The plainest map that may be used: demand a richer one where you know of a bend.",
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
    plainest: str,
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
    from coincide.cli.terminal.topics.scan_answers import show_pair, show_roll

    if roll is not None:
        if a is not None or wanted.pictures or wanted.registered or wanted.fringe_map or align:
            raise click.UsageError(
                "--roll takes the scans from its table; leave out A, B, --pictures, --registered, --fringes, --align."
            )
        show_roll(roll, frames, dpi, wanted, as_json=as_json)
    elif a is None or b is None:
        raise click.UsageError("Name the scan of body A and the scan of body B, or a table with --roll.")
    elif frames is not None:
        raise click.UsageError("--frames goes with --roll; for one pair use 'coincide ghost --frames'.")
    elif (near or far_m is not None) and not align:
        raise click.UsageError("--near and --distance go with --align.")
    elif KINDS.index(plainest) > KINDS.index(richest):
        raise click.UsageError(f"--at-least {plainest} asks for more than --model {richest} allows.")
    else:
        wanted.check()
        found = compared(a, b, dpi, richest, plainest)
        mount = mount_off(found, rig_path, near, far_m) if align else None
        show_pair(found, (a, b), wanted, mount, print_m, as_json=as_json)
