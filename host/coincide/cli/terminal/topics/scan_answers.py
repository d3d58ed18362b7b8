"""What `coincide scans` makes and answers, for a pair and for a roll."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coincide.ghost.mount.error import MountError
    from coincide.report.scan_files import Wanted
    from coincide.rig.model import Rig
    from coincide.scans.pair import Compared


def show_pair(
    found: Compared,
    paths: tuple[Path, Path],
    wanted: Wanted,
    mount: tuple[MountError, Rig] | None,
    print_m: float | None,
    *,
    as_json: bool,
) -> None:
    """Make the files that were asked for and say what was found. Raises BadInput for files that could not be made."""
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import progress
    from coincide.cli.terminal.topics.scans import say_pair
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


def show_roll(roll: Path, frames: Path | None, dpi: float | None, wanted: Wanted, *, as_json: bool) -> None:
    """Every pair of a roll's table, merged where that was asked for, and what the roll shows."""
    from coincide.cli.terminal.show import as_json as print_json
    from coincide.cli.terminal.show import progress
    from coincide.cli.terminal.topics.scans import say_roll
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
