"""`coincide lamps`: both bodies photograph a row of lamps; what the frames show tells skew, lag and exposure."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, yes_option
from coincide.cli.terminal.quantities import quantity_above_zero

SESSION = click.argument("session", type=click.Path(path_type=Path))


@click.group("lamps")
def command() -> None:
    """For bodies without a sync contact or a reachable gate: photograph the box's row of lamps.

    The lamps light one after another. Both bodies photograph the row, and the first and last lamp on each
    frame say when its exposure began and ended. 'fire' takes the frames, 'read' takes down what they show,
    'show' works out the rest, as often as you like.
    """


@command.command("fire")
@click.option(
    "-n",
    "--pairs",
    type=click.IntRange(1, 200),
    default=6,
    show_default=True,
    help="Pairs of frames with the fast row; one more comes first, with a slow one.",
)
@click.option(
    "--step",
    "step_s",
    type=quantity_above_zero("time"),
    default=None,
    help="Time each lamp of the fast row is lit, such as '1 ms'. Default: as fast as the exposures allow.",
)
@click.option(
    "--off-line",
    "off_line_m",
    type=quantity_above_zero("length", or_zero=True),
    default="1 mm",
    show_default=True,
    help="How far the row's image on film may lie from the line through the frame's centre, across the row.",
)
@click.option("--offset", "offset_text", default=None, help="Offset that is on, such as 'A 18.2ms'.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=None,
    help="Session file. Default: a new one in 'sessions'.",
)
@rig_option
@port_options
@yes_option
@json_option
def fire(
    pairs: int,
    step_s: float | None,
    off_line_m: float,
    offset_text: str | None,
    out: Path | None,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    confirmed: bool,
    as_json: bool,
) -> None:
    """Light the row, fire the pairs, keep when each lamp was lit.

    It spends a frame more than --pairs in each body. On the simulated box the frames are developed at once,
    and what they show is taken down too.

    Example: coincide lamps fire -n 6 --port /dev/ttyACM0
    """
    from coincide.bench.lamp_row import LampFiring, fire_lamps, read_row
    from coincide.bench.opening import Where, opened_box
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.results import show_lamps
    from coincide.report.words.numbers import offset_from_text
    from coincide.rig.file import load_rig

    firing = LampFiring(pairs, step_s, off_line_m, offset_from_text(offset_text), confirmed)
    person = AtTerminal(as_json=as_json)
    with opened_box(load_rig(rig_path), Where(port, world, seed), person, rig_path) as client:
        path = fire_lamps(client, rig_path, firing, out, person)
    show_lamps(read_row(path), as_json=as_json)


@command.command("read")
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
    from coincide.cli.terminal.results import show_lamps

    take_down(session, frames, AtTerminal(as_json=as_json))
    show_lamps(read_row(session), as_json=as_json)


@command.command("show")
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
    from coincide.cli.terminal.results import show_lamps

    kept = None if rig_path is None else keep_lamps(session, rig_path)
    show_lamps(read_row(session, kept), as_json=as_json)
