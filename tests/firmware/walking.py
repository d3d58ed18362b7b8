"""A box on a stand-in board, a host, a finger and fate; and a judge who knows nothing of how the box decides.

The judge watches the outputs and knows only what the host was granted and what the photographer's finger does. It
raises where an output closes that may not, stays closed too long, or is closed with the interlock open.
"""

from __future__ import annotations

import copyreg
import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import Any

import pytest

from coincide_firmware.app import box as box_module
from coincide_firmware.app.messages import SILENCE_MS
from coincide_firmware.app.pins import SYNC_A, SYNC_B
from coincide_firmware.app.wire import encode
from tests.firmware.app.stand_in import TICKS_A_MS, Bench, StandInBoard

MS = 1_000_000
PRESET = {"name": "p", "tolerance_ns": MS, "delay_a_ns": 5 * MS, "how_a": 1, "how_b": 1}
# What the software may add to a closure whose hardware fails: its margin, and one step of the loop.
SOFTWARE_MS = 10 + 60
FIELD_CLOSURE_MS = 150
HALF_MOST_MS = 60_000
STEP_MS = 25


class Body:
    """A body whose sync contact closes `lag_ms` after full-press, for 20 ms."""

    def __init__(self, channel: int, lag_ms: int) -> None:
        self.channel = channel
        self.lag_ms = lag_ms

    def __call__(self, full: int) -> list[tuple[int, int, int]]:
        closes = full + self.lag_ms * TICKS_A_MS
        return [(self.channel, 1, closes), (self.channel, 0, closes + 20 * TICKS_A_MS)]


class Judge:
    """Watches the outputs of a bench and raises where one closes that may not."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.armed_until_ms = -1  # by what the host was granted
        self.heard_ms = 0
        self.pair_until_ms = -1  # a pair that was granted may close outputs so long
        self.full_limit_ms = 0
        self.interlock_open_ms = -1
        self.finger_ms = -1_000_000
        self.was_closed = bench.board.outputs_closed()

    def granted(self, verb: str, fields: dict[str, Any], reply: dict[str, Any]) -> None:
        """Note what the box has just granted to the host."""
        now = self.bench.board.millis()
        silent_ms = now - self.heard_ms
        self.heard_ms = now
        if verb in ("disarm", "ensure_open"):
            self.armed_until_ms = -1
            if verb == "ensure_open" or self.full_limit_ms:
                self.pair_until_ms = -1
        if "ok" not in reply:
            return
        if verb == "arm":
            self.armed_until_ms = now + fields.get("timeout_ms", 10000)
            assert self.bench.board.interlock, "armed with the interlock open"
        elif verb == "pull_downs":
            assert not self.bench.board.interlock, "pins given up with the interlock closed"
            assert self.armed_until_ms < 0 or not self.bench.box.guard.armed, "pins given up while armed"
        elif verb in ("fire", "pulse") and not reply["ok"].get("again"):
            assert self.armed_until_ms >= now - STEP_MS, f"{verb} without an arm"
            assert silent_ms <= SILENCE_MS + STEP_MS, f"{verb} after the host was silent"
            assert self.bench.board.interlock, f"{verb} with the interlock open"
            lead_ns = fields.get("lead_ns", 0) + fields.get("delay_a_ns", 0)
            self.pair_until_ms = now + (lead_ns + fields["closure_ns"]) // MS + 1
            self.full_limit_ms = fields["closure_ns"] // MS

    def look(self) -> None:
        """Judge the outputs as they are now and the closures that have ended."""
        board = self.bench.board
        now = board.millis()
        if board.contacts["button_half"] or board.contacts["button_full"]:
            self.finger_ms = now
        closed = board.outputs_closed()
        by_finger = now - self.finger_ms < 1500
        if closed & ~self.was_closed:
            by_host = now <= self.pair_until_ms + SOFTWARE_MS
            assert by_host or by_finger, f"output {closed:04b} closed at {now} ms with nobody's permission"
        self.was_closed = closed
        if board.interlock:
            self.interlock_open_ms = -1
        elif self.interlock_open_ms < 0:
            self.interlock_open_ms = now
        elif closed:
            assert now - self.interlock_open_ms <= STEP_MS, "closed with the interlock open"
        for output, start, end in board.closures:
            self._check_length(output, (end - start) / TICKS_A_MS)
        board.closures.clear()
        for output in range(4):
            if closed >> output & 1:
                self._check_length(output, (board.now - board.closed_since(output)) / TICKS_A_MS)

    def _check_length(self, output: int, length_ms: float) -> None:
        limit_ms = max(self.full_limit_ms, FIELD_CLOSURE_MS) if output % 2 else HALF_MOST_MS
        assert length_ms <= limit_ms + SOFTWARE_MS, f"output {output} closed for {length_ms:.0f} ms"


def _view_of(held: bytes) -> memoryview:
    return memoryview(held)


# The line that is going out is held as a view, which pickle does not know.
copyreg.pickle(memoryview, lambda view: (_view_of, (bytes(view),)))


class Walk:
    """A bench with its judge, and the moves of host, finger and fate."""

    def __init__(self) -> None:
        self.shot = 0
        self._begin(None, "power")
        self.bench.ok("put", preset=0, values=PRESET)

    def _begin(self, files: Any, cause: str) -> None:
        self.bench = Bench(files, reset_cause=cause)
        self.board.bodies = [Body(SYNC_A, 40), Body(SYNC_B, 45)]
        self.judge = Judge(self.bench)

    @property
    def board(self) -> StandInBoard:
        board: StandInBoard = self.bench.board
        return board

    def packed(self) -> bytes:
        """The whole walk as it is now, to be unpacked as often as wanted."""
        return pickle.dumps(self)

    def step(self, judged: bool = True) -> None:
        self.board.idle(self.bench.box.step())
        if judged:
            self.judge.look()
        if self.board.rescues or self.board.resets:
            assert self.board.outputs_closed() == 0, "restarted with an output closed"
            self.reboot("restart")

    def run(self, ms: int) -> None:
        """Let time pass, looking at every step."""
        left = ms * TICKS_A_MS
        while left > 0:
            before, board = self.board.now, self.board
            self.step()
            # After a restart the clock begins anew.
            left -= board.now - before
        self._listen()

    def _listen(self) -> None:
        self.bench._listen()
        self.bench.events.clear()
        self.bench.replies.clear()
        self.board.led_log.clear()
        self.board.lamp_runs.clear()

    def ask(self, verb: str, **more: Any) -> dict[str, Any] | None:
        """One request and its reply; None where the box restarts or leaves before it answers."""
        known: dict[str, dict[str, Any]] = {
            "arm": {"timeout_ms": 20000},
            "fire": {
                "delay_a_ns": 20 * MS,
                "lead_ns": 100 * MS,
                "closure_ns": 150 * MS,
                "window_ns": 300 * MS,
            },
            "put": {"values": {"min_interval_ms": 100}},
            "watch": {"on": 1, "gap_ns": 100 * MS},
            "ack": {"upto": self.bench.box.events.last},
            "framelog_clear": {"entries": self.bench.box.framelog.entries},
            "pulse": {"output": 1, "closure_ns": 80 * MS},
            "rescue": {"boot": self.bench.box.boot},
        }
        fields = {**known.get(verb, {}), **more}
        if verb == "fire" and "shot" not in fields:
            self.shot += 1
            fields["shot"] = self.shot
        bench = self.bench
        number = bench.next_id
        bench.next_id += 1
        self.board.arrive(encode({"id": number, "do": verb, **fields}))
        leaving = bench.box._leaves_ms >= 0
        for _ in range(500):
            # What is asked for may be done before the reply says so.
            self.step(judged=verb not in ("fire", "pulse"))
            if self.bench is not bench:
                return None
            bench._listen()
            replies: list[dict[str, Any]] = bench.replies
            for reply in replies:
                if reply["re"] == number:
                    self.judge.granted(verb, fields, reply)
                    self.judge.look()
                    self._listen()
                    return reply
        assert leaving, f"no answer to {verb}"
        return None

    def press(self, name: str, down: int) -> None:
        """A contact goes down or up."""
        self.board.contacts[name] = down
        self.run(8 if down else 40)

    def reboot(self, cause: str = "watchdog") -> None:
        """The power goes and comes back; the host's grants and the finger's press are forgotten."""
        board = self.board
        board.ensure_open()
        board.files.fail = False
        contacts, interlock, stuck = board.contacts, board.interlock, board.hardware_stuck
        self._begin(board.files, cause)
        self.board.contacts, self.board.interlock, self.board.hardware_stuck = contacts, interlock, stuck

    def settle(self) -> None:
        """Let everything come to rest: outputs must be open, whoever held them."""
        for name in self.board.contacts:
            self.board.contacts[name] = 0
        self.run(700)
        assert self.board.outputs_closed() == 0, "an output is closed and nobody holds it"
        status = self.ask("status")
        assert status is None or "ok" in status


def unpacked(snapshot: bytes) -> Walk:
    """The walk a snapshot was made of."""
    walk: Walk = pickle.loads(snapshot)
    return walk


def _open_interlock(walk: Walk) -> None:
    walk.board.open_interlock()
    walk.judge.look()


def _open_on_stuck_hardware(walk: Walk) -> None:
    walk.board.hardware_stuck = True
    walk.board.open_interlock()


def _open_and_close(walk: Walk) -> None:
    walk.board.open_interlock()
    walk.run(30)
    walk.board.interlock = True


def _silence(walk: Walk) -> None:
    walk.run(SILENCE_MS + 100)
    assert not walk.bench.box.guard.armed, "armed after silence"


def _failing(where: str, error: Exception) -> Callable[[Walk], None]:
    def strike(walk: Walk) -> None:
        walk.board.raise_in[where] = error

    return strike


def _flash_fails(walk: Walk) -> None:
    walk.board.files.fail = True


def _stuck(walk: Walk) -> None:
    walk.board.hardware_stuck = True


def _noise(walk: Walk) -> None:
    walk.board.arrive(bytes(range(256)) + b'{"id": 1, "do": "fire", "shot": 99}\n' + b"\x03\x03\n")


def _overrun(walk: Walk) -> None:
    walk.board.lost = 1000


def _power_cut(walk: Walk) -> None:
    walk.reboot()


def _deaf_host(walk: Walk) -> None:
    walk.board.serial_room = 0
    walk.run(60)
    walk.board.serial_room = 1 << 30


# What fate may do, at any moment.
FAULTS: dict[str, Callable[[Walk], None]] = {
    "none": lambda walk: walk.run(5),
    "interlock opens": _open_interlock,
    "interlock opens, hardware stuck": _open_on_stuck_hardware,
    "interlock opens and closes": _open_and_close,
    "host silent": _silence,
    "host does not read": _deaf_host,
    "loop fails": _failing("read_edges", ValueError("fate")),
    "fire fails": _failing("start_pair", MemoryError()),
    "half-press fails": _failing("hold_half", ValueError("fate")),
    "pulse fails": _failing("start_pulse", MemoryError()),
    "flash fails": _flash_fails,
    "hardware stuck": _stuck,
    "noise": _noise,
    "overrun": _overrun,
    "watchdog or power cut": _power_cut,
}


@contextmanager
def no_collection() -> Iterator[None]:
    """Collecting garbage, which the box does after a failure, walks the whole of this process: a tenth of a second
    in a long campaign, and nothing that CPython needs."""
    patch = pytest.MonkeyPatch()
    patch.setattr(box_module, "gc", SimpleNamespace(collect=lambda: 0))
    try:
        yield
    finally:
        patch.undo()
