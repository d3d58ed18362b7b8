"""The guided bench test: click each output, watch each input, loop the outputs back and time the isolators.

Logic only: `ask` puts a yes-or-no question to the person, `tell` says a sentence, the client talks to the
box. Outputs are open and the box is disarmed whenever a stage ends, however it ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

import numpy as np

from coincide.box.acknowledge import require_acknowledgement
from coincide.box.answers import BoxIdentity, BoxStatus, Event
from coincide.box.bench_record import BenchRecord, Item, Loop, ZeroResult
from coincide.errors import BoxFailed
from coincide_firmware.app.pins import CHANNELS, SYNC_A, SYNC_B
from coincide_wiring.netlist import Build, digest

OUTPUTS = ("half_a", "full_a", "half_b", "full_b")
CLICK_NS = 500_000_000
PULSE_NS = 20_000_000
ARM_MS = 10_000
SHOT_TIMEOUT_S = 5.0
WATCH_TIMEOUT_S = 30.0
QUIET_GAP_NS = 200_000_000
PULSES = 5
# A loop slower than this is no isolator: the slowest promises 3 ms, and the coupler far less than 0.1 ms.
SLOWEST_LOOP_S = 5e-3
EDGE_TOLERANCE = 0.02

WATCHED = (
    ("sync_a", "Fire body A by hand at a slow speed (or short its sync plug for a moment)."),
    ("sync_b", "Fire body B by hand at a slow speed (or short its sync plug for a moment)."),
    ("gate_a1", "Shine the lamp on gate sensor a1, then cover it."),
    ("gate_a2", "Shine the lamp on gate sensor a2, then cover it."),
    ("gate_b1", "Shine the lamp on gate sensor b1, then cover it."),
    ("gate_b2", "Shine the lamp on gate sensor b2, then cover it."),
)
PLACE = {"half": "half and common", "full": "full and common"}

Ask = Callable[[str], bool]
Tell = Callable[[str], None]
Edge = tuple[int, int, int]


class BenchClient(Protocol):
    """What the bench test asks of a box; `coincide.box.client.BoxClient` is one."""

    identity: BoxIdentity

    def status(self) -> BoxStatus: ...
    def arm(self, timeout_ms: int) -> None: ...
    def disarm(self) -> None: ...
    def ensure_open(self) -> None: ...
    def pulse(self, output: int, closure_ns: int) -> None: ...
    def watch(self, on: bool, gap_ns: int = ...) -> None: ...
    def event(self, timeout_s: float) -> Event | None: ...
    def ack(self, upto: int) -> None: ...


class BenchCheck:
    """One bench test of one box, built as `build` says. Stages may be run alone or all together (`run`)."""

    def __init__(
        self,
        client: BenchClient,
        ask: Ask,
        tell: Tell,
        build: Build | None = None,
        config: Path | None = None,
    ) -> None:
        self._client = client
        self._ask = ask
        self._tell = tell
        self.build = Build() if build is None else build
        self._config = config

    def run(self, loopback: bool = True, pulses: int = PULSES, now: datetime | None = None) -> BenchRecord:
        """All stages in order. Raises BadInput when the cautions are not acknowledged (a real box only),
        BoxFailed when the box does."""
        items = [*self.outputs(), *self.inputs()]
        zero = None
        if loopback and self._ask("Bodies off the box and the loopback plug in its four sockets?"):
            item, zero = self.zero_check(pulses)
            items.append(item)
        else:
            items.append(
                Item("loopback", "zero", None, "Zero check left out: isolators keep their datasheet spread.")
            )
        return self.record(items, zero, now)

    def record(
        self, items: Sequence[Item], zero: ZeroResult | None, now: datetime | None = None
    ) -> BenchRecord:
        """What stages found, with the box's identity and the wiring's digest."""
        at = (datetime.now(UTC) if now is None else now).isoformat(timespec="seconds")
        identity = self._client.identity
        return BenchRecord(
            at, identity.uid, identity.firmware, digest(self.build), self.build, tuple(items), zero
        )

    # -- outputs ------------------------------------------------------------------------------------------

    def outputs(self) -> tuple[Item, ...]:
        """Click each output in turn; the person says whether that contact, and no other, closed."""
        self._tell("Outputs: bodies off. Put a meter on ohms, or a lamp and a cell, across the socket named.")
        return tuple(self._output(number, name) for number, name in enumerate(OUTPUTS))

    def _output(self, number: int, name: str) -> Item:
        press, body = name.split("_")
        place = f"socket {body.upper()}, {PLACE[press]}"
        if not self._ask(f"Meter on {place}? It will close for half a second."):
            return Item(name, "output", None, f"{name} was left out.")
        with self._armed():
            edges = self._pulse(number, CLICK_NS)
        wrong = self._wrong_pulse(number, edges, CLICK_NS)
        if wrong:
            return Item(name, "output", False, wrong)
        if self._ask(f"Did {place} close for half a second, and nothing else?"):
            return Item(name, "output", True, f"{name} closes {place}.")
        return Item(
            name,
            "output",
            False,
            f"{name} left the board but {place} did not close: see 'no edge seen' and 'A and B swapped' in "
            "docs/wiring-faults.md.",
        )

    def _wrong_pulse(self, number: int, edges: tuple[Edge, ...], closure_ns: int) -> str:
        """What is wrong with the outputs' own edges of a pulse; '' when they are as asked."""
        name = OUTPUTS[number]
        others = sorted({CHANNELS[channel] for channel, _, _ in edges if channel < 4 and channel != number})
        if others:
            return f"{name} was asked for and {' and '.join(others)} moved too: a short between outputs?"
        own = [(level, tick) for channel, level, tick in edges if channel == number]
        if [level for level, _ in own] != [1, 0]:
            return f"{name} was asked for and its pin did not close once and open once: is the pin shorted?"
        held_s = (own[1][1] - own[0][1]) / self._client.identity.tick_hz
        if abs(held_s - closure_ns * 1e-9) > EDGE_TOLERANCE * closure_ns * 1e-9:
            return f"{name} stayed closed {held_s * 1e3:.1f} ms instead of {closure_ns * 1e-6:.0f} ms."
        return ""

    # -- inputs -------------------------------------------------------------------------------------------

    def inputs(self, timeout_s: float = WATCH_TIMEOUT_S) -> tuple[Item, ...]:
        """Watch each input while the person does what closes it."""
        self._tell("Inputs: do what is asked and wait; the box listens and fires nothing.")
        items = [self._input(name, how, timeout_s) for name, how in WATCHED]
        items.append(self._wound(timeout_s))
        items.append(self._interlock())
        return tuple(items)

    def _input(self, name: str, how: str, timeout_s: float) -> Item:
        if not self._ask(f"Ready to test {name}? {how}"):
            return Item(name, "input", None, f"{name} was left out.")
        with self._watching():
            edges = self._group(timeout_s)
        closed = {CHANNELS[channel] for channel, level, _ in edges if level == 1 and 4 <= channel < 10}
        if not edges:
            return Item(
                name, "input", False, f"{name}: no edge seen in {timeout_s:.0f} s; see docs/wiring-faults.md."
            )
        if closed == {name}:
            return Item(name, "input", True, f"{name} closes and opens.")
        if not closed:
            return Item(
                name, "input", False, f"{name} only opened: it rests closed, so it is inverted or shorted."
            )
        if name not in closed:
            other = " and ".join(sorted(closed))
            return Item(name, "input", False, f"{other} answered instead of {name}: the leads are swapped.")
        others = " and ".join(sorted(closed - {name}))
        return Item(
            name,
            "input",
            False,
            f"{others} answered together with {name}: a joint, or light on both sensors?",
        )

    def _wound(self, timeout_s: float) -> Item:
        if not self._ask("Is a 'wound' button fitted, and ready to be pressed once?"):
            return Item("wound", "input", None, "wound was left out.")
        seen = self._await(lambda event: event.kind == "wound", timeout_s)
        say = "wound answers." if seen else f"wound: nothing seen in {timeout_s:.0f} s; check its lead."
        return Item("wound", "input", seen, say)

    def _interlock(self) -> Item:
        for word, wanted in (("open", False), ("close", True)):
            if not self._ask(f"Interlock: {word} it now. Done?"):
                return Item("interlock", "input", None, "interlock was left out.")
            if self._client.status().interlock != wanted:
                state = "open" if wanted else "closed"
                say = f"The interlock reads {state} when it should not: do not fire until this is found."
                return Item("interlock", "input", False, say)
        return Item("interlock", "input", True, "interlock reads open and closed.")

    # -- zero check ---------------------------------------------------------------------------------------

    def zero_check(self, pulses: int = PULSES) -> tuple[Item, ZeroResult | None]:
        """Pulse each output into both sync inputs; the isolators' delays, and how they differ.

        Needs the loopback plug in and all bodies off. The result is None when a loop does not answer.
        """
        delays = np.full((len(OUTPUTS), pulses, 2), np.nan)
        with self._armed():
            for number, name in enumerate(OUTPUTS):
                for count in range(pulses):
                    edges = self._pulse(number, PULSE_NS)
                    wrong = self._wrong_pulse(number, edges, PULSE_NS)
                    if wrong:
                        return Item("loopback", "zero", False, wrong), None
                    late = self._loop_delays(number, edges)
                    missing = [CHANNELS[c] for c, s in zip((SYNC_A, SYNC_B), late, strict=True) if s is None]
                    if missing:
                        say = (
                            f"{name} did not reach {' and '.join(missing)} within {SLOWEST_LOOP_S * 1e3:.0f} ms: is "
                            "the loopback plug in all four sockets, and are the sync cells fresh?"
                        )
                        return Item("loopback", "zero", False, say), None
                    delays[number, count] = late
        zero = zero_result(delays, self._client.identity.tick_hz)
        say = (
            f"Loops answer: B's input is {zero.skew_s * 1e6:+.2f} ± {2 * zero.u_skew_s * 1e6:.2f} µs later than A's; "
            f"isolators take {zero.loop_s[0] * 1e6:.0f} µs (A) and {zero.loop_s[1] * 1e6:.0f} µs (B)."
        )
        return Item("loopback", "zero", True, say), zero

    def _loop_delays(self, number: int, edges: tuple[Edge, ...]) -> tuple[float | None, float | None]:
        """Seconds from the output's closing to the first closing of sync_a and sync_b; None if not in time."""
        hz = self._client.identity.tick_hz
        start = next(tick for channel, level, tick in edges if channel == number and level == 1)

        def late_s(wanted: int) -> float | None:
            ticks = [t for c, level, t in edges if c == wanted and level == 1 and t >= start]
            return (ticks[0] - start) / hz if ticks and (ticks[0] - start) / hz <= SLOWEST_LOOP_S else None

        return late_s(SYNC_A), late_s(SYNC_B)

    # -- talking with the box -----------------------------------------------------------------------------

    @contextmanager
    def _armed(self) -> Iterator[None]:
        if not self._client.identity.simulated:
            require_acknowledgement(self._config)
        try:
            yield
        finally:
            self._client.ensure_open()

    @contextmanager
    def _watching(self) -> Iterator[None]:
        self._drain()
        self._client.watch(True, QUIET_GAP_NS)
        try:
            yield
        finally:
            self._client.watch(False)

    def _pulse(self, number: int, closure_ns: int) -> tuple[Edge, ...]:
        self._drain()
        self._client.arm(ARM_MS)
        self._client.pulse(number, closure_ns)
        edges = self._collect("shot", SHOT_TIMEOUT_S)
        if edges is None:
            raise BoxFailed(
                f"The box did not report its pulse of {OUTPUTS[number]}; unplug it, plug it in and repeat."
            )
        return edges

    def _group(self, timeout_s: float) -> tuple[Edge, ...]:
        return self._collect("group", timeout_s) or ()

    def _collect(self, end: str, timeout_s: float) -> tuple[Edge, ...] | None:
        """Edges up to the event that ends them; None when it does not come. Faults the box tells are raised."""
        edges: list[Edge] = []
        while (event := self._client.event(timeout_s)) is not None:
            self._client.ack(event.seq)
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

    def _drain(self) -> None:
        """Forget what came before: it belongs to nothing that is asked now."""
        while (event := self._client.event(0.0)) is not None:
            self._client.ack(event.seq)

    def _await(self, wanted: Callable[[Event], bool], timeout_s: float) -> bool:
        while (event := self._client.event(timeout_s)) is not None:
            self._client.ack(event.seq)
            if wanted(event):
                return True
        return False


def _edges(event: Event) -> list[Edge]:
    """(channel, level, tick) of an 'edges' event."""
    codes, tick = event.fields["e"], int(event.fields["base"])
    found = []
    for code, delta in zip(codes[::2], codes[1::2], strict=True):
        tick += delta
        found.append((code // 2, code % 2, tick))
    return found


def zero_result(delay_s: np.ndarray, tick_hz: int) -> ZeroResult:
    """Means and standard uncertainties of looped-back pulses.

    delay_s: (4 outputs, n pulses, 2 inputs), seconds. Type A from the scatter, type B from one tick of
    resolution at either edge, taken as rectangular (GUM 4.3.7); added in quadrature.
    """
    outputs, pulses, _ = delay_s.shape
    tick_u_s = 1 / tick_hz / np.sqrt(6)  # two edges, each rectangular with half-width half a tick

    def spread(values: np.ndarray) -> float:
        scatter = float(np.std(values, ddof=1)) / np.sqrt(values.size) if values.size > 1 else 0.0
        return float(np.hypot(scatter, tick_u_s))

    loops = tuple(
        Loop(
            OUTPUTS[o],
            CHANNELS[(SYNC_A, SYNC_B)[i]],
            float(delay_s[o, :, i].mean()),
            spread(delay_s[o, :, i]),
            pulses,
        )
        for o in range(outputs)
        for i in range(2)
    )
    apart = (delay_s[:, :, 1] - delay_s[:, :, 0]).ravel()
    full_a, full_b = delay_s[1, :, 0], delay_s[3, :, 1]
    return ZeroResult(
        loops=loops,
        skew_s=float(apart.mean()),
        u_skew_s=spread(apart),
        loop_s=(float(full_a.mean()), float(full_b.mean())),
        u_loop_s=(spread(full_a), spread(full_b)),
    )
