"""`coincide watch`: listen only, for a rig fired by a mechanical twin cable."""

from __future__ import annotations

from pathlib import Path

import click

from coincide.cli.terminal.options import json_option, port_options, rig_option, session_option, yes_option


@click.command("watch")
@click.option(
    "-n", "--pairs", type=click.IntRange(1, 1_000_000), default=None, help="Stop after so many pairs."
)
@click.option("--gap", "gap_text", default="500 ms", show_default=True, help="Quiet that ends a pair.")
@click.option(
    "--quiet", "quiet_text", default=None, help="Stop when nothing comes for so long, such as '60 s'."
)
@session_option("Session file. Default: in 'sessions' beside the rig.")
@click.option(
    "--compare",
    "other",
    type=click.Path(path_type=Path),
    default=None,
    help="An earlier watch: did what was changed in between move skew or jitter?",
)
@click.option(
    "--turned",
    type=click.FloatRange(0.0, 100.0, min_open=True),
    default=None,
    help="How many turns the plunger's screw was turned since --compare: says what a turn does, and how many more.",
)
@rig_option
@port_options
@yes_option
@json_option
def command(
    pairs: int | None,
    gap_text: str,
    quiet_text: str | None,
    out: Path | None,
    other: Path | None,
    turned: float | None,
    rig_path: Path,
    port: str | None,
    world: str | None,
    seed: int,
    confirmed: bool,
    as_json: bool,
) -> None:
    """Listen without firing: every edge is kept, grouped into pairs, and the skew shown as it comes.

    For bodies fired by a mechanical twin cable, or by hand. There is no full-press edge, so there is skew
    but no lag. Ctrl-C ends it; everything is kept.

    Example: coincide watch --port COM5 --quiet "60 s" --compare sessions/before.jsonl --turned 0.5
    """
    if turned is not None and other is None:
        raise click.UsageError("--turned says how far since another watch: name that one with --compare.")
    from coincide.bench.opening.box import Where, opened_box
    from coincide.bench.series import Into, keep_watch
    from coincide.cli.terminal.person import AtTerminal
    from coincide.cli.terminal.show import say
    from coincide.cli.terminal.topics.results import show_comparison, show_session
    from coincide.rig.file import load_rig
    from coincide.units import quantity

    rig, person = load_rig(rig_path), AtTerminal(as_json=as_json)
    gap_s = quantity(gap_text, "time")
    quiet_s = None if quiet_text is None else quantity(quiet_text, "time")
    with opened_box(rig, Where(port, world, seed, world_else="twin cable"), person, rig_path) as client:
        if client.identity.simulated and port is None and quiet_s is None:
            quiet_s = 60.0  # the invented photographer presses forty times and goes home
        done = keep_watch(
            client,
            rig_path,
            pairs,
            person,
            gap_s=gap_s,
            quiet_s=quiet_s,
            into=Into(out, other),
            confirmed=confirmed,
        )
    show_session(done.analysis, done.path, as_json=as_json, other=done.compared_with)
    if as_json:
        return
    if other is not None:
        show_comparison(done.analysis, other, done.compared_with, turned)
    say(f"To add to it: coincide watch --out {done.path}")
