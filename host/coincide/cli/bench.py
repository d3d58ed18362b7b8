"""The bench test at the terminal: questions asked, answers kept, the record written."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from coincide.cli.show import say, table

if TYPE_CHECKING:
    from coincide.box.bench_record import Item
    from coincide.box.client import BoxClient


def bench_check(client: BoxClient, *, outputs_and_inputs: bool, zero: bool) -> bool:
    """Run the stages asked for, keep the record, show it. True when nothing that was tested failed."""
    from coincide.box.bench_check import BenchCheck
    from coincide.box.bench_record import save_record

    simulated = client.identity.simulated
    bench = BenchCheck(client, (lambda _: True) if simulated else _ask, say)
    if simulated:
        say("The simulated box has its loopback plug in; every question is answered with yes.")
    items: list[Item] = []
    result = None
    if outputs_and_inputs:
        items += bench.outputs()
        if not simulated:
            items += bench.inputs()
    if zero and (simulated or _ask("Bodies off the box and the loopback plug in its sockets?")):
        item, result = bench.zero_check()
        items.append(item)
    record = bench.record(items, result)
    words = {True: "passed", False: "failed", None: "left out"}
    table(("tested", "result", "what was seen"), [(one.name, words[one.passed], one.say) for one in items])
    if not simulated:
        say(f"Kept as {save_record(record)}")
    return record.passed


def _ask(question: str) -> bool:
    return click.confirm(question, default=True)
