"""What a series or a watch is asked to do, and what came of it."""

from __future__ import annotations

import zlib
from dataclasses import dataclass, field
from typing import Literal, Protocol

from coincide.box.cable.answers import BoxIdentity
from coincide.errors import BadInput
from coincide.session.model import Header, Plan, Remark, ShotRecord

QUANTUM_TICKS = 2  # a release leaves the box on this grid
NUMBERS_PER_SESSION = 100_000
SESSIONS_TOLD_APART = 8_999
FIRST_SESSION = 1_000  # numbers of as many digits in every session: what is said takes as long on the cable

Ending = Literal[
    "complete",
    "stopped",  # by hand
    "interlock",
    "silent body",
    "not wound",
    "box lost",
    "box resets",  # at the same pair, again and again
]


class SessionSink(Protocol):
    """Where records go to be safe: SessionWriter, or memory in tests."""

    header: Header
    last_shot: int
    last_tick: int

    def append(self, record: ShotRecord) -> None:
        """Keep a pair; safe once this returns."""

    def remark(self, remark: Remark) -> None:
        """Keep a remark."""


@dataclass(frozen=True, slots=True)
class SeriesPlan:
    """A series of pairs.

    pairs: how many the session is to hold in all; a resumed session goes on from what it has.
    plan: what each pair does. interval_s: from the start of one pair to the start of the next, at least.
    manual_wind: wait for 'wound' before each pair. names: how sentences call the bodies. senses: whether a
    body has anything that can answer (a contact that is not suppressed, or a gate sensor).
    silent_most: so many pairs in a row without an answer of a body end the series.
    wound_patience_s, box_patience_s: how long to wait for the person to wind, for a lost box to come back.
    """

    pairs: int
    plan: Plan = field(default_factory=Plan)
    interval_s: float = 4.0
    manual_wind: bool = False
    names: tuple[str, str] = ("body A", "body B")
    senses: tuple[bool, bool] = (True, True)
    silent_most: int = 3
    wound_patience_s: float = 900.0
    box_patience_s: float = 60.0

    def __post_init__(self) -> None:
        if not 1 <= self.pairs < NUMBERS_PER_SESSION:
            raise BadInput(f"A series has 1 to {NUMBERS_PER_SESSION - 1} pairs, not {self.pairs}.")
        if not 0 <= self.interval_s <= 3600:
            raise BadInput(f"The interval between pairs is 0 to 3600 s, not {self.interval_s:g} s.")


@dataclass(frozen=True, slots=True)
class SeriesOutcome:
    """How a series ended. `sentences` are for the person, in order; `kept` pairs of this run are in the file,
    `in_file` with those of earlier runs; `silent` counts pairs without an answer, by body."""

    ending: Ending
    kept: int
    in_file: int
    silent: tuple[int, int]
    sentences: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether the session holds all pairs it was to hold."""
        return self.ending == "complete"


@dataclass(frozen=True, slots=True)
class WatchOutcome:
    """How a watch ended: groups kept in this run, and sentences for the person."""

    ending: Ending
    kept: int
    sentences: tuple[str, ...]


def offset_plan(offset_s: float, identity: BoxIdentity, base: Plan | None = None) -> Plan:
    """`base` with the signed offset on the body it holds back, on the grid of the box's releases."""
    base = Plan() if base is None else base
    quantum_s = QUANTUM_TICKS / identity.tick_hz
    delay_ns = round(round(abs(offset_s) / quantum_s) * quantum_s * 1e9)
    delays = (delay_ns, 0) if offset_s > 0 else (0, delay_ns)
    return Plan(delays[0], delays[1], base.lead_ns, base.closure_ns, base.window_ns)


def number_base(header: Header) -> int:
    """What is added to a session's shot numbers on the wire, so that a pair left in the box by another session is
    not taken for one of this."""
    told = f"{header.created} {header.purpose}".encode()
    return (FIRST_SESSION + zlib.crc32(told) % SESSIONS_TOLD_APART) * NUMBERS_PER_SESSION
