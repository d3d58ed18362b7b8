"""`coincide wiring terminal`: the guided meter check of a terminal before anything is wired to it."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from coincide.cli.terminal import show
from coincide.cli.terminal.options import json_option
from coincide.cli.terminal.person import somebody_answers
from coincide.cli.terminal.topics.circuits import TerminalKind, wiring_json
from coincide.cli.terminal.topics.wiring_words import amount as typed_amount
from coincide.cli.terminal.topics.wiring_words import caution_lines
from coincide.cli.terminal.topics.wiring_words import volts as typed_volts

if TYPE_CHECKING:
    from coincide_wiring.check.terminal import TerminalCheck


@click.command("terminal")
@click.argument("kind", type=TerminalKind())
@click.option("--volts", type=typed_volts, help="Judge this one reading (with its sign) instead of asking.")
@click.option("--alternating", is_flag=True, help="The meter shows an alternating voltage.")
@json_option
def terminal(kind: str, volts: float | None, alternating: bool, as_json: bool) -> None:
    """Guided meter check of a sync or release terminal before anything is wired to it.

    KIND is 'sync' (also flash, pc, x, hot-shoe) or 'release' (also remote, cable-release). Leaves with 1 when the
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
            wiring_json("-terminal", asdict(judged))
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
        show.aside(line)
    asked = TerminalCheck(named)
    while asked.step != "done":
        question = show.wrapped(asked.question)
        with somebody_answers(asked.question):
            answer = (
                click.prompt(question, value_proc=typed_amount, err=True)
                if asked.wants_volts
                else click.confirm(question, default=None, err=True)
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
