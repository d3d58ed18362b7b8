"""`coincide series`: fire pairs, keep every edge, say what they show."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, session_option, yes_option


@click.command("series")
@click.option(
    "-n", "--pairs", type=click.IntRange(5, 5000), default=30, show_default=True, help="Pairs to fire."
)
@click.option(
    "--offset", "offset_text", default=None, help="Offset that is on, such as 'A 18.2ms' or 'B 3ms'."
)
@session_option(
    "Session file; an existing one is continued. Default: a new one in 'sessions' beside the rig."
)
@click.option(
    "--compare",
    "other",
    type=click.Path(path_type=Path),
    default=None,
    help="An earlier session: did what was changed in between move lag or jitter?",
)
@rig_option
@port_options
@yes_option
@json_option
def command(
    pairs: int,
    offset_text: str | None,
    out: Path | None,
    other: Path | None,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    confirmed: bool,
    as_json: bool,
) -> None:
    """Fire a series of pairs and measure it.

    Every pair is on disk before the box forgets it; Ctrl-C keeps what there is, and the same --out goes on
    with it.

    Example: coincide series -n 30 --port /dev/ttyACM0
    """
    from coincide.bench.opening.box import Where, opened_box
    from coincide.bench.series import Into, measure_series
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.topics.results import leave_unless_complete, show_comparison, show_session
    from coincide.report.words.numbers import offset_from_text
    from coincide.rig.file import load_rig

    offset_s, person = offset_from_text(offset_text), AtTerminal(as_json=as_json)
    with opened_box(load_rig(rig_path), Where(port, world, seed), person, rig_path) as client:
        done = measure_series(
            client, rig_path, pairs, offset_s, person, into=Into(out, other), confirmed=confirmed
        )
    show_session(done.analysis, done.path, as_json=as_json, other=done.compared_with)
    if other is not None and not as_json:
        show_comparison(done.analysis, other, done.compared_with)
    again = [("--offset", offset_text), ("--port", port), ("--world", world)]
    again += [("--rig", None if rig_path == Path("rig.toml") else str(rig_path))]
    said = "".join(f" {option} {shlex.quote(value)}" for option, value in again if value is not None)
    leave_unless_complete(done, f"coincide series -n {pairs} --out {done.path}{said}", as_json=as_json)
