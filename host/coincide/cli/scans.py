"""`coincide scans`: register two scans and measure what moved between them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal.options import json_option

if TYPE_CHECKING:
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
    else:
        found = _compared(a, b, dpi, richest)
        _show(found, _written(found, b, pictures, registered), as_json=as_json)


def _compared(a: Path, b: Path, dpi: float | None, richest: str) -> Compared:
    from coincide.cli.terminal.show import progress
    from coincide.scans.pair import STEPS, compare

    with progress("scans", STEPS) as bar:
        task = bar.task_ids[0]
        return compare(a, b, dpi, richest, lambda what: bar.update(task, advance=1, description=what))


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


def _show(found: Compared, written: list[str], *, as_json: bool) -> None:
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import say, table
    from coincide.report.json.scans import scans_json
    from coincide.report.words import scans as words

    if as_json:
        print_json(scans_json(found, written))
        return
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
