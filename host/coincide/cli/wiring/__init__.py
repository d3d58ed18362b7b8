"""`coincide wiring`: schematics, parts, electrical figures, pins, cautions and the guided terminal check."""

from __future__ import annotations

import click

from coincide.cli.terminal import show
from coincide.cli.terminal.options import json_option
from coincide.cli.terminal.topics.circuits import wiring_json
from coincide.cli.terminal.topics.wiring_words import build_rows
from coincide.cli.wiring.checks import cautions, check
from coincide.cli.wiring.files import draw, export, layout
from coincide.cli.wiring.lists import figures, parts, pins
from coincide.cli.wiring.terminal import terminal


@click.group(invoke_without_command=True)
@json_option
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """Schematics, parts, electrical figures and cautions of the box.

    Without a subcommand: an overview of the build, circuit by circuit.

    \b
    Example:
      coincide wiring
      coincide wiring figures --sync-a wetted
    """
    if ctx.invoked_subcommand is not None:
        if as_json:
            raise click.UsageError(
                f"Put '--json' behind it: coincide wiring {ctx.invoked_subcommand} --json."
            )
        return
    from coincide_wiring.netlist import Build, sheets

    if as_json:
        found = [{"name": one.name, "title": one.title, "parts": len(one.parts)} for one in sheets(Build())]
        wiring_json("", {"circuits": found})
        return
    rows = list(build_rows(Build()))
    show.say(f"The box is {len(rows)} circuits, {sum(int(one[2]) for one in rows)} parts.")
    show.say("Drawings: 'coincide wiring draw --to FOLDER'. Building it step by step: docs/build-the-box.md.")
    show.say("Before you touch a terminal: 'coincide wiring cautions' and 'coincide wiring terminal'.")
    show.table(("circuit", "what it does", "parts"), rows, "The box, circuit by circuit")


for _one in (parts, figures, pins, draw, layout, export, cautions, check, terminal):
    command.add_command(_one)
