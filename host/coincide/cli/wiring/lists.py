"""`coincide wiring parts`, `figures` and `pins`: what the box is made of, as lists."""

from __future__ import annotations

import click

from coincide.cli.terminal import show
from coincide.cli.terminal.options import json_option
from coincide.cli.terminal.topics.circuits import chosen_build, circuit_options, wiring_json
from coincide.cli.terminal.topics.wiring_words import (
    bought,
    extra_lines,
    figure_lines,
    freedom_lines,
    json_figure,
    part_lines,
    verdict_of,
)


@click.command("parts")
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
        wiring_json("-parts", {"parts": lines, "extras": further})
    elif as_table:
        show.say(as_csv(build, stage).rstrip("\n"))
    elif not (lines or further):
        show.say(f"Stage {stage} needs nothing more.")
    else:
        show.say(bought(lines, further))
        for text in part_lines(lines):
            show.say(text)
        for text in extra_lines(further):
            show.say(text)


@click.command("figures")
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
    from coincide_wiring.freedom import freedom

    build = chosen_build(chosen)
    found = computed(build)
    if as_json:
        terms = {
            how: {key: timing_terms(build, done, how) for key, done in (("before", False), ("after", True))}
            for how in ("sync", "gate")
        }
        figures_json = [json_figure(one) for one in found]
        wiring_json("-figures", {"figures": figures_json, "values": freedom(build), "timing_terms": terms})
    else:
        show.say(show.wrapped(verdict_of(found)))
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


@click.command("pins")
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
        wiring_json("-pins", {"pins": rows})
        return
    cells = (
        (str(row.gpio), row.name, row.direction, "high" if row.active else "low", row.purpose) for row in rows
    )
    sorts = ((sum(row.direction == one for row in rows), one) for one in ("out", "in"))
    show.say(f"{len(rows)} pins in use: {', '.join(f'{many} {one}' for many, one in sorts)}.")
    show.table(("GPIO", "signal", "direction", "active", "what it is"), cells, "Pins")
