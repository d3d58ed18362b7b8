"""What `coincide scans` asks and says: its options, and a pair's or a roll's answer on the terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coincide.cli.terminal.options import Command
from coincide.cli.terminal.quantities import quantity_above_zero

if TYPE_CHECKING:
    from coincide.ghost.mount.error import MountError
    from coincide.ghost.roll import RollRow, RollSummary
    from coincide.report.scan_files import Made
    from coincide.rig.model import Rig
    from coincide.scans.pair import Compared

FILE = click.Path(path_type=Path)
AS = ("infrared-red-green", "infrared-green-blue", "red-infrared-blue", "two-tone")


def merge_options(function: Command) -> Command:
    """How the merged picture is to be; gathers the files wanted into `wanted`."""

    @wraps(function)
    def gathered(*args: Any, **said: Any) -> Any:
        from coincide.report.scan_files import Wanted

        names = ("pictures", "registered", "merged", "fringe_map", "assignment", "infrared", "border")
        return function(*args, wanted=Wanted(**{name: said.pop(name) for name in names}), **said)

    chosen: Callable[..., Any] = click.option(
        "--border",
        type=click.Choice(["crop", "gate", "transparent"]),
        default="crop",
        show_default=True,
        help="With --merged: cut off what B does not show; the film gates too; or make it transparent.",
    )(gathered)
    chosen = click.option(
        "--infrared",
        type=click.Choice(["a", "b"], case_sensitive=False),
        default="b",
        show_default=True,
        help="With --merged: which of the two scans is the infrared one.",
    )(chosen)
    return click.option(  # type: ignore[return-value]
        "--as",
        "assignment",
        type=click.Choice(AS),
        default=AS[0],
        show_default=True,
        help="With --merged: what red, green and blue show.",
    )(chosen)


def file_options(function: Command) -> Command:
    """The files that can be made of a pair."""
    for name, variable, text in reversed(
        (
            ("--pictures", "pictures", "Draw the overlay, the arrows and the loupe strip into this folder."),
            (
                "--registered",
                "registered",
                "Write B laid on A as a new TIFF, its bits, samples and profile kept.",
            ),
            (
                "--merged",
                "merged",
                "Write both as one 16-bit TIFF; with --roll, a folder for all and a contact sheet.",
            ),
            ("--fringes", "fringe_map", "Draw where coloured fringes are, and how wide, as a new PNG."),
        )
    ):
        function = click.option(name, variable, type=FILE, help=text)(function)
    return function


def align_options(function: Command) -> Command:
    """`--align` and what goes with it."""
    function = click.option(
        "--distance",
        "far_m",
        type=quantity_above_zero("length"),
        default=None,
        help="With --align: how far away the scene is. Default: far.",
    )(function)
    function = click.option(
        "--near",
        type=(float, float, quantity_above_zero("length")),
        multiple=True,
        metavar="X Y DISTANCE",
        help="With --align: a thing that stood still near by, its place in A in pixels, its distance.",
    )(function)
    return click.option(
        "--align",
        is_flag=True,
        help="Say what to turn on body B's mount: the scene must have stood still.",
    )(function)


def compared(a: Path, b: Path, dpi: float | None, richest: str, plainest: str) -> Compared:
    """The pair, read, registered and searched, with progress."""
    from coincide.cli.terminal.show import progress
    from coincide.scans.pair import STEPS, compare

    with progress("scans", STEPS) as bar:
        task = bar.task_ids[0]
        return compare(
            a, b, dpi, richest, plainest, lambda what: bar.update(task, advance=1, description=what)
        )


def mount_off(
    found: Compared, rig_path: Path, near: tuple[tuple[float, float, float], ...], far_m: float | None
) -> tuple[MountError, Rig]:
    """How body B's mount is off, and the rig it is of."""
    from coincide.ghost.mount.error import FAR_M, NearThing, mount_error
    from coincide.rig.file import load_rig

    rig = load_rig(rig_path)
    things = [NearThing((x, y), distance_m) for x, y, distance_m in near]
    return mount_error(found, rig, things, FAR_M if far_m is None else far_m), rig


def say_pair(
    found: Compared, made: Made, mount: tuple[MountError, Rig] | None, print_m: float | None
) -> None:
    """What to turn, where that was asked; how the scans lie and what moved; what was made."""
    from coincide.cli.terminal.show import say, table
    from coincide.report.words import merged as of_merged
    from coincide.report.words import mount as of_mount
    from coincide.report.words import scans as words

    if mount is not None:
        for line in of_mount.mount_lines(*mount):
            say(line)
        table(of_mount.MOUNT_COLUMNS, of_mount.mount_rows(*mount))
    for line in words.pair_lines(found):
        say(line)
    if found.motion.regions:
        table(words.REGION_COLUMNS, words.region_rows(found))
        say("Was it timing? Save this with --json and ask 'coincide ghost --scans FILE'.")
    if made.registered is not None:
        for line in of_merged.laid_lines(made.registered):
            say(line)
    if made.merged is not None:
        for line in of_merged.merged_lines(made.merged):
            say(line)
    if made.fringes is not None:
        table(of_merged.FRINGE_COLUMNS, of_merged.fringe_rows(made.fringes, found, print_m))
        for line in of_merged.fringe_lines(made.fringes):
            say(line)
    for path in made.paths:
        say(f"Written: {path}")


def say_roll(rows: tuple[RollRow, ...], summary: RollSummary, written: Sequence[Path]) -> None:
    """A row a pair, the summary, the files."""
    from coincide.cli.terminal.show import say, table
    from coincide.report.words import scans as words

    table(words.ROLL_COLUMNS, words.roll_rows(rows))
    for line in words.roll_lines(summary):
        say(line)
    for path in written:
        say(f"Written: {path}")
