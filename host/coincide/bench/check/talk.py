"""Talking with a box on the bench: arm, pulse and listen so that outputs are open whenever a step ends."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Protocol

from coincide.bench.opening.acknowledge import require_acknowledgement
from coincide.bench.person import Question
from coincide.box.cable.answers import BoxIdentity, BoxStatus, Event
from coincide.errors import BoxFailed

OUTPUTS = ("half_a", "full_a", "half_b", "full_b")
ARM_MS = 10_000
SHOT_TIMEOUT_S = 5.0
QUIET_GAP_NS = 200_000_000

Edge = tuple[int, int, int]
Tell = Callable[[str], None]


Ask = Callable[[Question], bool]


class BenchClient(Protocol):
    """What the bench test asks of a box; `coincide.box.cable.client.BoxClient` is one."""

    identity: BoxIdentity
    cautions_read: bool

    def status(self) -> BoxStatus: ...
    def arm(self, timeout_ms: int) -> None: ...
    def ensure_open(self) -> None: ...
    def pulse(self, output: int, closure_ns: int) -> None: ...
    def pull_downs(self) -> int: ...
    def lamps(self, lamps: int, step_ns: int, rows: int) -> None: ...
    def watch(self, on: bool, gap_ns: int = ...) -> None: ...
    def event(self, timeout_s: float) -> Event | None: ...
    def ack(self, upto: int) -> None: ...


class BenchTalk:
    """The steps every stage of the bench test is made of. `config` replaces the user's configuration folder."""

    def __init__(self, client: BenchClient, config: Path | None = None) -> None:
        self.client = client
        self._config = config

    @contextmanager
    def armed(self) -> Iterator[None]:
        """Arming is allowed inside; outputs are open and the box disarmed afterwards, whatever happens.

        Raises BadInput when the cautions were acknowledged neither in this run nor earlier on this machine (a real
        box only).
        """
        if not (self.client.identity.simulated or self.client.cautions_read):
            require_acknowledgement(self._config)
        try:
            yield
        finally:
            self.client.ensure_open()

    @contextmanager
    def watching(self) -> Iterator[None]:
        """The box listens and fires nothing, not even for its own button."""
        # A button that rests closed holds the half-presses; the box cannot listen until they are let go.
        self.client.ensure_open()
        self.drain()
        self.client.watch(True, QUIET_GAP_NS)
        try:
            yield
        finally:
            self.client.watch(False)

    def pulse(self, number: int, closure_ns: int) -> tuple[Edge, ...]:
        """Close one output for a time; the edges of it, as (channel, level, tick). Raises BoxFailed."""
        self.drain()
        self.client.arm(ARM_MS)
        self.client.pulse(number, closure_ns)
        edges = self.collect("shot", SHOT_TIMEOUT_S)
        if edges is None:
            raise BoxFailed(
                f"The box did not report its pulse of {OUTPUTS[number]}; unplug it, plug it in and repeat."
            )
        return edges

    def collect(self, end: str, timeout_s: float) -> tuple[Edge, ...] | None:
        """Edges up to the event that ends them; None when it does not come. Faults the box tells are raised."""
        edges: list[Edge] = []
        while (event := self._next(timeout_s)) is not None:
            if event.kind == "fault":
                raise BoxFailed(f"The box stopped: {event.fields.get('say')}")
            if event.kind == "edges":
                edges += _edges(event)
            elif event.kind == end:
                if event.fields.get("lost"):
                    raise BoxFailed(
                        f"The box lost {event.fields['lost']} edges here: a contact that chatters? Repeat."
                    )
                return tuple(edges)
        return None

    def events(self, kind: str, timeout_s: float) -> Iterator[Event]:
        """Events of one kind as they come, until none has come for so long; others are dropped."""
        while (event := self._next(timeout_s)) is not None:
            if event.kind == kind:
                yield event

    def pass_time(self, seconds: float) -> None:
        """Let the box go on for so long; what it says meanwhile is dropped."""
        while self._next(seconds) is not None:
            pass

    def drain(self) -> None:
        """Forget what came before: it belongs to nothing that is asked now."""
        while self._next(0.0) is not None:
            pass

    def _next(self, timeout_s: float) -> Event | None:
        event = self.client.event(timeout_s)
        if event is not None:
            self.client.ack(event.seq)
        return event


def _edges(event: Event) -> list[Edge]:
    """(channel, level, tick) of an 'edges' event."""
    codes, tick = event.fields["e"], int(event.fields["base"])
    found = []
    for code, delta in zip(codes[::2], codes[1::2], strict=True):
        tick += delta
        found.append((code // 2, code % 2, tick))
    return found
