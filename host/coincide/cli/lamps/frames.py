"""`coincide lamps read` and `show`: take down what the frames show, and work out the rest."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option

SESSION = click.argument("session", type=click.Path(path_type=Path))


@click.command("read")
@SESSION
@click.option(
    "--frame",
    "frames",
    multiple=True,
    help="What a frame shows: pair, body, first and last lamp, as '2 A 5-12'; '2 A 7' for a single lamp, '?' "
    "behind it where an end is doubtful, '2 A none' where nothing can be told.",
)
@json_option
def read(session: Path, frames: tuple[str, ...], as_json: bool) -> None:
    """Take down what the frames show; asks for each frame that has not been read.

    Count lamps from the end that lights first. Every lamp that shows any light counts, however faint. A row
    that comes round has its first lamp behind its last: '29-3'. A frame read again replaces what was read.

    Example: coincide lamps read sessions/lamps.jsonl --frame "2 A 5-12" --frame "2 B 19-27"
    """
    from coincide.bench.lamp_row import read_row, take_down
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.topics.results import show_lamps

    take_down(session, frames, AtTerminal(as_json=as_json))
    show_lamps(read_row(session), as_json=as_json)


@click.command("show")
@SESSION
@click.option(
    "--keep",
    "rig_path",
    type=click.Path(path_type=Path),
    default=None,
    help="Keep what was found as a calibration beside this rig file.",
)
@json_option
def show(session: Path, rig_path: Path | None, as_json: bool) -> None:
    """Skew, lags and exposures from the frames, with their uncertainty and what to set.

    Everything is worked out anew from the session file.

    Example: coincide lamps show sessions/lamps.jsonl --keep rig.toml
    """
    from coincide.bench.lamp_row import keep_lamps, read_row
    from coincide.cli.terminal.topics.results import show_lamps

    kept = None if rig_path is None else keep_lamps(session, rig_path)
    show_lamps(read_row(session, kept), as_json=as_json)
