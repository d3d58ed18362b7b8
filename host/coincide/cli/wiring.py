"""`coincide wiring`: schematics, parts, electrical figures, pins, cautions and the guided terminal check."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from coincide.cli.terminal import show
from coincide.cli.terminal.cautions import show_cautions
from coincide.cli.terminal.circuits import NearChoice, TerminalKind, chosen_build, circuit_options
from coincide.cli.terminal.options import json_option
from coincide.cli.terminal.wiring_words import (
    amount as typed_amount,
)
from coincide.cli.terminal.wiring_words import (
    build_rows,
    caution_lines,
    extra_lines,
    figure_lines,
    freedom_lines,
    json_figure,
    part_lines,
)
from coincide.cli.terminal.wiring_words import (
    volts as typed_volts,
)

if TYPE_CHECKING:
    from coincide_wiring.check.terminal import TerminalCheck


def _print_json(name: str, result: dict[str, Any]) -> None:
    show.as_json({"format": f"coincide-wiring{name}-result", "version": 1, **result})


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
        _print_json("", {"circuits": found})
        return
    show.table(("circuit", "what it does", "parts"), build_rows(Build()), "The box, circuit by circuit")
    show.say("Drawings: 'coincide wiring draw --to FOLDER'. Building it step by step: docs/build-the-box.md.")
    show.say("Before you touch a terminal: 'coincide wiring cautions' and 'coincide wiring terminal'.")


@command.command()
@circuit_options(usual=True)
@click.option("--stage", type=click.IntRange(1, 12), help="Only what this stage of the building page needs.")
@click.option("--csv", "as_table", is_flag=True, help="A table to order from, as comma-separated values.")
@json_option
def parts(as_json: bool, as_table: bool, stage: int | None, **chosen: str) -> None:
    """What to buy: quantities, ratings, cases with their terminals, leads and plugs, substitutes, and why each value.

    Stages are those of docs/build-the-box.md.

    \b
    Example:
      coincide wiring parts --release-b solenoid
      coincide wiring parts --stage 3 --csv
    """
    from coincide_wiring.parts import as_csv, extras, parts_list

    build = chosen_build(chosen)
    if as_json and as_table:
        raise click.UsageError("'--json' and '--csv' are two forms of the same list: choose one.")
    lines, further = parts_list(build, stage), extras(build, stage)
    if as_json:
        _print_json("-parts", {"parts": lines, "extras": further})
    elif as_table:
        show.say(as_csv(build, stage).rstrip("\n"))
    elif not (lines or further):
        show.say(f"Stage {stage} needs nothing more.")
    else:
        for text in part_lines(lines):
            show.say(text)
        for text in extra_lines(further):
            show.say(text)


@command.command()
@circuit_options(usual=True)
@json_option
def figures(as_json: bool, **chosen: str) -> None:
    """Computed values with their corners, limits and margins, and the timing errors they add.

    Leaves with 1 when a corner leaves its limits.

    \b
    Example:
      coincide wiring figures --sync-a high-voltage --gate-a transimpedance
    """
    from coincide_wiring.figures.build import figures as computed
    from coincide_wiring.figures.build import timing_terms
    from coincide_wiring.figures.freedom import freedom

    build = chosen_build(chosen)
    found = computed(build)
    if as_json:
        terms = {
            how: {key: timing_terms(build, done, how) for key, done in (("before", False), ("after", True))}
            for how in ("sync", "gate")
        }
        figures_json = [json_figure(one) for one in found]
        _print_json("-figures", {"figures": figures_json, "values": freedom(build), "timing_terms": terms})
    else:
        for text in figure_lines(found):
            show.say(text)
        show.say("u is a standard uncertainty; an interval of 95 % is about twice as wide to either side.")
        show.say(
            "Preferred values (E24) that keep all of this, each alone changed, within ten times either way:"
        )
        for text in freedom_lines(freedom(build)):
            show.say(text)
    if not all(one.inside for one in found):
        raise click.exceptions.Exit(1)


@command.command()
@json_option
def pins(as_json: bool) -> None:
    """The pin table: which signal sits on which GPIO.

    \b
    Example:
      coincide wiring pins
    """
    from coincide_wiring.circuits.pin_table import pin_rows

    rows = pin_rows()
    if as_json:
        _print_json("-pins", {"pins": rows})
        return
    cells = (
        (str(row.gpio), row.name, row.direction, "high" if row.active else "low", row.purpose) for row in rows
    )
    show.table(("GPIO", "signal", "direction", "active", "what it is"), cells, "Pins")


@command.command()
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder for the SVG files; made if it is not there.",
)
@json_option
def draw(folder: Path, as_json: bool) -> None:
    """Draw the schematics into a folder, one SVG a circuit.

    \b
    Example:
      coincide wiring draw --to schematics
    """
    from coincide_wiring.draw.schematics import write

    written = write(folder)
    if as_json:
        _print_json("-draw", {"written": written})
        return
    for path in written:
        show.say(str(path))


@command.command()
@circuit_options(usual=True)
@click.option(
    "--to",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    help="Folder for the files; made if it is not there.",
)
@json_option
def export(folder: Path, as_json: bool, **chosen: str) -> None:
    """Parts and nets of a build in open formats, for other programs.

    A netlist as KiCad reads it, a SPICE deck a circuit (stimuli are yours to add), parts and nets as CSV.

    \b
    Example:
      coincide wiring export --to nets --sync-a wetted
    """
    from coincide_wiring.export.files import write

    written = write(chosen_build(chosen), folder)
    if as_json:
        _print_json("-export", {"written": written})
        return
    for path in written:
        show.say(str(path))


@command.command()
@click.option(
    "--at",
    "place",
    type=NearChoice(["open", "meter", "arm", "lamp", "gate", "solenoid"]),
    help="Only what matters at one place.",
)
@click.option("--acknowledge", is_flag=True, help="I have read all of them: keep that on this machine.")
@json_option
def cautions(place: str | None, acknowledge: bool, as_json: bool) -> None:
    """What can hurt you, a body or a shutter, in the order the hand gets there.

    The first real release on a machine waits for '--acknowledge', once for this wording.

    \b
    Example:
      coincide wiring cautions --at meter
      coincide wiring cautions --acknowledge
    """
    from coincide_wiring.cautions import PLACES, cautions_for, digest

    if acknowledge and place is not None:
        raise click.UsageError("'--acknowledge' is for all of them: leave '--at' out.")
    chosen = PLACES if place is None else {place: PLACES[place]}
    if as_json:
        said = [one for key in chosen for one in cautions_for(key)]
        _print_json("-cautions", {"digest": digest(), "cautions": said})
    else:
        show_cautions(chosen, aside=False)
    if acknowledge:
        from coincide.bench.acknowledge import acknowledge as keep

        show.aside(f"\nAcknowledged; kept in {keep()}.")


@command.command()
@circuit_options(usual=True)
@json_option
def check(as_json: bool, **chosen: str) -> None:
    """Electrical rule check of a build: the same data the drawings come from.

    Leaves with 1 when something is wrong.

    \b
    Example:
      coincide wiring check --sync-a wetted --release-b solenoid
    """
    from coincide_wiring.check.rules import check as faults_of
    from coincide_wiring.netlist import digest

    build = chosen_build(chosen)
    faults = faults_of(build)
    if as_json:
        _print_json("-check", {"sound": not faults, "wiring_digest": digest(build), "faults": faults})
    elif faults:
        show.table(("rule", "where", "what"), ((one.rule, one.where, one.say) for one in faults), "Faults")
    else:
        show.say(
            show.wrapped(
                "Sound: every pin used once, every output isolated and held off at boot, the two bodies, the rig and "
                "the board joined nowhere, every input and part within its ratings, with the loopback plug in as well."
            )
        )
    if faults:
        raise click.exceptions.Exit(1)


@command.command()
@click.argument("kind", type=TerminalKind())
@click.option("--volts", type=typed_volts, help="Judge this one reading (with its sign) instead of asking.")
@click.option("--alternating", is_flag=True, help="The meter shows an alternating voltage.")
@json_option
def terminal(kind: str, volts: float | None, alternating: bool, as_json: bool) -> None:
    """Guided meter check of a sync or release terminal before anything is wired to it.

    KIND is 'sync' (also flash, pc, x, hot-shoe) or 'release' (also remote, cable). Leaves with 1 when the
    terminal is not to be joined as it is. 0 V never blesses anything.

    \b
    Example:
      coincide wiring terminal sync
      coincide wiring terminal release --volts 4.9
    """
    from coincide_wiring.cautions import cautions_for
    from coincide_wiring.check.terminal import KINDS, TerminalCheck, judge_terminal

    (named,) = [one for one in KINDS if one == kind]
    if volts is not None:
        judged = judge_terminal(volts, named, alternating)
        if as_json:
            _print_json("-terminal", asdict(judged))
        else:
            show.say(show.wrapped(judged.say))
            show.say(show.wrapped(judged.then))
        if not judged.blessed:
            raise click.exceptions.Exit(1)
        return
    if as_json or alternating:
        raise click.UsageError(
            "'--json' and '--alternating' go with '--volts': the guided check asks a person."
        )
    for line in caution_lines(cautions_for("meter")):
        show.say(line)
    asked = TerminalCheck(named)
    while asked.step != "done":
        question = show.wrapped(asked.question)
        answer = (
            click.prompt(question, value_proc=typed_amount)
            if asked.wants_volts
            else click.confirm(question, default=None)
        )
        asked = asked.answer(answer)
    show.say(show.wrapped(asked.verdict))
    show.say(show.wrapped(_to_build(asked)))
    if not asked.blessed:
        raise click.exceptions.Exit(1)


def _to_build(done: TerminalCheck) -> str:
    """The last line: what to build and how to tell the box of it, or to join nothing."""
    if done.circuit is None:
        return "Join nothing to this terminal."
    if not done.blessed:
        return (
            f"Join nothing to it as it is; if anything at all may go there, it is the {done.circuit} circuit."
        )
    told = f"coincide box check --{done.kind}-a {done.circuit}"
    return f"Circuit to build: {done.circuit}. When it is fitted, tell the box: '{told}' (for body B --{done.kind}-b)."
