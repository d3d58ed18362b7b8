"""The bench test at the terminal: questions asked, answers kept, the record written."""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from coincide.cli.terminal import show
from coincide.errors import CoincideError

if TYPE_CHECKING:
    from coincide.bench.check.record import BenchRecord
    from coincide.bench.check.talk import Ask, Question
    from coincide.box.cable.client import BoxClient
    from coincide_wiring.netlist import Build


def bench_check(
    client: BoxClient, circuits: Mapping[str, str | None], stages: Sequence[str], *, as_json: bool
) -> bool:
    """Run the stages, keep the record, show it. True when nothing that was tested failed.

    What was found before a stage raised is kept and shown too; then it raises.
    """
    from coincide.bench.check.guided import BenchCheck

    real = not client.identity.simulated
    build = _fitted_build(client.identity.uid, circuits, ask=real)
    ask, stages = _hand(client, stages)
    bench = BenchCheck(client, ask, show.aside, build)
    stopped: CoincideError | None = None
    try:
        bench.run(stages)
    except CoincideError as failure:
        stopped = failure
        if not bench.items:
            raise
    record = bench.record()
    _show(record, keep=real, as_json=as_json)
    if stopped is not None:
        raise stopped
    return record.passed


def _fitted_build(uid: str, circuits: Mapping[str, str | None], *, ask: bool) -> Build:
    """How the box is built: as the options say, as recorded, or as the person answers."""
    from coincide.bench.check.record import fitted
    from coincide.cli.terminal.circuits import asked_build, chosen_build, circuit_rows

    found = fitted(uid)
    build = chosen_build(circuits, found.build if found is not None else None)
    when = "not recorded before" if found is None else f"recorded {found.made_at[:10]}"
    show.aside(f"Circuits of this box ({when}):")
    for what, one, other in circuit_rows(build):
        show.aside(f"  {what:13s} A {one}\n  {'':13s} B {other}")
    if not ask or any(circuits.values()) or click.confirm("Is it built so now?", default=True, err=True):
        return build
    return asked_build(build)


def _hand(client: BoxClient, stages: Sequence[str]) -> tuple[Ask, Sequence[str]]:
    """Who answers, and what can be tested: the person; or, at a simulated box, a simulated hand, which cannot
    reach through a serial port."""
    from coincide.bench.check.hand import SimulatedHand
    from coincide.box.simulated.port import SimulatedPort

    if not client.identity.simulated:
        return _ask, stages
    if isinstance(client.port, SimulatedPort):
        show.aside(
            "The simulated box has its loopback plug in; a simulated hand does what is asked and answers yes."
        )
        hand = SimulatedHand(client.port.world)

        def rehearsed(question: Question) -> bool:
            show.aside(f"{question.text} yes")
            return hand(question)

        return rehearsed, stages
    show.aside(
        "Nobody can reach the buttons and inputs of a simulated box: only what it does itself is tested."
    )
    return (lambda _: True), [one for one in stages if one in ("outputs", "zero")]


def _ask(question: Question) -> bool:
    text = show.wrapped(question.text, stream=sys.stderr)
    return click.confirm(text, default=None if question.finds else True, err=True)


def _show(record: BenchRecord, *, keep: bool, as_json: bool) -> None:
    """The record on the screen and, of a real box, on the disk."""
    from coincide.bench.check.record import OUTCOMES, record_table, save_record, zero_correction

    kept = save_record(record) if keep else None
    if as_json:
        kind: dict[str, Any] = {"format": "coincide-bench-result", "version": 1}
        rest = {key: value for key, value in record_table(record).items() if key not in kind}
        show.as_json(kind | rest | {"passed": record.passed, "kept_as": kept})
        return
    rows = [(one.name, OUTCOMES[one.passed], one.say) for one in record.items]
    show.table(("tested", "result", "what was seen"), rows)
    if all(one.passed is None for one in record.items):
        show.say("Nothing was tested.")
    if kept is not None:
        show.say(f"Kept as {kept}")
        zero = zero_correction(record.box_uid)
        if zero is not None and zero.stale is not None:
            from coincide.timing.known import MEASURE_ZERO

            show.say(f"{zero.stale} {MEASURE_ZERO}")
