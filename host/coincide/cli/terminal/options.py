"""Options shared by commands: each declared once, so that they read and behave the same everywhere."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from coincide.cli.terminal import completing
from coincide.cli.terminal.again import Given

Command = TypeVar("Command", bound=Callable[..., Any])

json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object instead of sentences (docs/formats.md)."
)


def _remember(context: click.Context, _: click.Parameter, rig_path: Path) -> Path:
    """For the next steps that are printed: whether the rig file was named, and which."""
    source = context.get_parameter_source("rig_path")
    if isinstance(context.obj, Given) and source is click.core.ParameterSource.COMMANDLINE:
        context.obj.rig = rig_path
    return rig_path


rig_option = click.option(
    "--rig",
    "rig_path",
    type=click.Path(path_type=Path),
    default=Path("rig.toml"),
    show_default=True,
    callback=_remember,
    help="The rig file. 'coincide rig new' writes one.",
)


def folder_option(what: str, *, required: bool = False) -> Callable[[Command], Command]:
    """`--to`: where what a command writes goes, said in `what`."""
    return click.option(
        "--to",
        "folder",
        type=click.Path(path_type=Path, file_okay=False),
        required=required,
        help=what,
    )


def session_option(what: str) -> Callable[[Command], Command]:
    """`--out`: the session file, and in `what` where it is without."""
    return click.option("--out", type=click.Path(path_type=Path), default=None, help=what)


yes_option = click.option(
    "--yes",
    "confirmed",
    is_flag=True,
    help="Every item of the check list is done; do not ask (for scripts and the simulated box).",
)


seed_option = click.option(
    "--seed",
    type=click.IntRange(0, 2**31 - 1),
    default=1,
    show_default=True,
    help="Simulated box: the same seed plays the same day again.",
)


def port_options(function: Command) -> Command:
    """`--port`, and what the simulated box plays when there is none."""
    function = seed_option(function)
    function = click.option(
        "--world",
        default=None,
        shell_complete=completing.worlds,
        help="Play this invented rig on a simulated box ('coincide box serve --list' shows them all).",
    )(function)
    return click.option(
        "--port",
        default=None,
        shell_complete=completing.ports,
        help="Serial port of the box, e.g. COM5 or /dev/ttyACM0 ('coincide box list' finds it). "
        "Without it the box that is plugged in; where there is none, a simulated one.",
    )(function)


explain_option = click.option(
    "--explain", is_flag=True, help="Print where every number comes from: rig key, calibration figure or sum."
)
