"""A bench evening: how the box is built, its stages tested, the record kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.bench.check.circuits import asked_build, chosen_build, circuit_rows
from coincide.bench.check.guided import BenchCheck
from coincide.bench.check.hand import SimulatedHand
from coincide.bench.check.record import BenchRecord, fitted, save_record
from coincide.bench.person import Person, Question
from coincide.errors import CoincideError

if TYPE_CHECKING:
    from coincide.bench.check.talk import Ask
    from coincide.box.cable.client import BoxClient
    from coincide_wiring.netlist import Build


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found and where it is kept (nowhere for a simulated box); `stopped` by what, or None."""

    record: BenchRecord
    kept: Path | None
    stopped: CoincideError | None
    simulated: bool


def bench_check(
    client: BoxClient, circuits: Mapping[str, str | None], stages: Sequence[str], person: Person
) -> Checked:
    """Run the stages and keep the record. What was found before a stage failed is kept too.

    `circuits` as `chosen_build` takes them. Raises what the first stage raises before anything was found.
    """
    real = not client.identity.simulated
    build = _fitted_build(client.identity.uid, circuits, person, ask=real)
    ask, stages = _hand(client, stages, person)
    bench = BenchCheck(client, ask, person.tell, build)
    stopped: CoincideError | None = None
    try:
        bench.run(stages)
    except CoincideError as failure:
        stopped = failure
        if not bench.items:
            raise
    record = bench.record()
    return Checked(record, save_record(record) if real else None, stopped, not real)


def _fitted_build(uid: str, circuits: Mapping[str, str | None], person: Person, *, ask: bool) -> Build:
    """How the box is built: as the options say, as recorded, or as the person answers."""
    found = fitted(uid)
    build = chosen_build(circuits, found.build if found is not None else None)
    when = "not recorded before" if found is None else f"recorded {found.made_at[:10]}"
    person.tell(f"Circuits of this box ({when}):")
    for what, one, other in circuit_rows(build):
        person.tell(f"  {what:13s} A {one}\n  {'':13s} B {other}")
    if not ask or any(circuits.values()) or person.confirm(Question("Is it built so now?")):
        return build
    return asked_build(build, person)


def _hand(client: BoxClient, stages: Sequence[str], person: Person) -> tuple[Ask, Sequence[str]]:
    """Who answers, and what can be tested: the person; or, at a simulated box, a simulated hand, which cannot
    reach through a serial port."""
    from coincide.box.simulated.port import SimulatedPort

    if not client.identity.simulated:
        return person.confirm, stages
    if isinstance(client.port, SimulatedPort):
        person.tell(
            "The simulated box has its loopback plug in; a simulated hand does what is asked and answers yes."
        )
        hand = SimulatedHand(client.port.world)

        def rehearsed(question: Question) -> bool:
            person.tell(f"{question.text} yes")
            return hand(question)

        return rehearsed, stages
    person.tell(
        "Nobody can reach the buttons and inputs of a simulated box: only what it does itself is tested."
    )
    return (lambda _: True), [one for one in stages if one in ("outputs", "zero")]
