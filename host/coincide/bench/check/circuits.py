"""Which circuits a box has: what each is for, which were chosen, the table of both bodies."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from coincide_wiring.circuits.body import RELEASE_VARIANTS
from coincide_wiring.circuits.sensors import GATE_VARIANTS, SYNC_VARIANTS
from coincide_wiring.netlist import Build

if TYPE_CHECKING:
    from coincide.bench.person import Person

# Key of a build, words for the table, and the circuits there are, the usual one first.
CIRCUITS = (
    ("sync", "sync input", SYNC_VARIANTS),
    ("release", "release", RELEASE_VARIANTS),
    ("gate", "gate sensors", GATE_VARIANTS),
)
# What each circuit is for.
MEANS = {
    "cell": "mechanical contact",
    "wetted": "polarised semiconductor output",
    "high-voltage": "terminal that may carry high voltage",
    "contact": "closes the body's remote contacts",
    "solenoid": "pulls a mechanical cable release",
    "transimpedance": "photodiode with amplifier",
    "through-lens": "photodiode with more gain, behind a lens",
    "load": "photodiode with load, for a lamp at 30 mm",
}


def chosen_build(chosen: Mapping[str, str | None], recorded: Build | None = None) -> Build:
    """The build that `chosen` names, by 'sync_a' to 'gate_b'; where it names nothing `recorded`, or the plain
    circuits."""
    was = Build() if recorded is None else recorded
    return Build(
        *(
            (chosen.get(f"{key}_a") or getattr(was, key)[0], chosen.get(f"{key}_b") or getattr(was, key)[1])
            for key, _, _ in CIRCUITS
        )
    )


def asked_build(recorded: Build, person: Person) -> Build:
    """The build the person describes, circuit by circuit; Enter keeps what is recorded."""
    answers = {
        f"{key}_{body.lower()}": person.ask(
            f"{words.capitalize()} of body {body} ({', '.join(names)})", was, names
        )
        for key, words, names in CIRCUITS
        for body, was in zip("AB", getattr(recorded, key), strict=True)
    }
    return chosen_build(answers, recorded)


def circuit_rows(build: Build) -> Iterator[tuple[str, str, str]]:
    """Rows: what, of body A, of body B."""
    for key, words, _ in CIRCUITS:
        one, other = (f"{name}: {MEANS[name]}" for name in getattr(build, key))
        yield words, one, other
