"""Every state of the box, every request, every fault: no closure without permission, none beyond its limit,
none with the interlock open.

The judge below knows nothing of how the box decides. It watches the outputs of the stand-in board and knows
only what the host was granted and what the photographer's finger does.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from coincide_firmware.app import shots
from coincide_firmware.app.messages import REQUESTS, SILENCE_MS
from coincide_firmware.app.wire import encode
from tests.firmware.app.stand_in import TICKS_A_MS, Bench, StandInBoard, two_bodies

MS = 1_000_000
PRESET = {"name": "p", "tolerance_ns": MS, "delay_a_ns": 5 * MS, "how_a": 1, "how_b": 1}
# What the software may add to a closure whose hardware fails: its margin, and one step of the loop.
SOFTWARE_MS = 10 + 60
FIELD_CLOSURE_MS = 150


class Judge:
    """Watches the outputs of a bench and raises where one closes that may not."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.armed_until_ms = -1  # by what the host was granted
        self.heard_ms = 0
        self.pair_until_ms = -1  # a pair that was granted may close outputs so long
        self.full_limit_ms = 0
        self.seen = len(bench.board.closures)
        self.interlock_open_ms = -1
        self.finger_ms = -1_000_000
        self.was_closed = bench.board.outputs_closed()

    def granted(self, verb: str, fields: dict[str, Any], reply: dict[str, Any]) -> None:
        """Note what the box has just granted to the host."""
        now = self.bench.board.millis()
        self.heard_ms = now
        if verb in ("disarm", "ensure_open"):
            self.armed_until_ms = -1
            if verb == "ensure_open" or self.full_limit_ms:
                self.pair_until_ms = -1
        if "ok" not in reply:
            return
        if verb == "arm":
            self.armed_until_ms = now + fields.get("timeout_ms", 10000)
        elif verb == "fire" and not reply["ok"]["again"]:
            assert self.armed_until_ms >= now - 25, "fired without an arm"
            closing_ns = fields["lead_ns"] + fields.get("delay_a_ns", 0) + fields["closure_ns"]
            self.pair_until_ms = now + closing_ns // MS + 1
            self.full_limit_ms = fields["closure_ns"] // MS
        elif verb == "pulse":
            assert self.armed_until_ms >= now - 25, "pulsed without an arm"
            self.pair_until_ms = now + fields["closure_ns"] // MS + 1
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
            by_host = now <= max(self.pair_until_ms, -1) + SOFTWARE_MS
            assert by_host or by_finger, f"output {closed:04b} closed at {now} ms with nobody's permission"
        self.was_closed = closed
        if board.interlock:
            self.interlock_open_ms = -1
        elif self.interlock_open_ms < 0:
            self.interlock_open_ms = now
        elif closed:
            assert now - self.interlock_open_ms <= 25, "closed with the interlock open"
        for output, start, end in board.closures[self.seen :]:
            length_ms = (end - start) / TICKS_A_MS
            if output % 2:
                limit = max(self.full_limit_ms, FIELD_CLOSURE_MS)
                assert length_ms <= limit + SOFTWARE_MS, (output, length_ms)
            else:
                assert length_ms <= 60000 + SOFTWARE_MS, (output, length_ms)
        self.seen = len(board.closures)


class Walk:
    """A bench with its judge, and the moves of host, finger and fate."""

    def __init__(self) -> None:
        self.bench = Bench()
        two_bodies(self.bench)
        self.bench.ok("put", preset=0, values=PRESET)
        self.judge = Judge(self.bench)
        self.shot = 0

    @property
    def board(self) -> StandInBoard:
        return self.bench.board

    def run(self, ms: int) -> None:
        """Let time pass, looking at every step."""
        end = self.board.now + ms * TICKS_A_MS
        while self.board.now < end:
            self.board.idle(self.bench.box.step())
            self.judge.look()
        self.bench._listen()

    def ask(self, verb: str) -> dict[str, Any]:
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
        }
        fields = known.get(verb, {})
        if verb == "fire":
            self.shot += 1
            fields["shot"] = self.shot
        number = self.bench.next_id
        self.bench.next_id += 1
        self.board.arrive(encode({"id": number, "do": verb, **fields}))
        for _ in range(100):
            self.board.idle(self.bench.box.step())
            self.bench._listen()
            replies: list[dict[str, Any]] = self.bench.replies
            for reply in replies:
                if reply["re"] == number:
                    self.bench.replies = []
                    self.judge.granted(verb, fields, reply)
                    self.judge.look()
                    return reply
        raise AssertionError(f"no answer to {verb}")

    def reboot(self) -> None:
        """The power goes and comes back; the host's grants and the finger's press are forgotten."""
        self.board.ensure_open()
        files = self.board.files
        files.fail = False
        self.bench = Bench(files, reset_cause="watchdog")
        two_bodies(self.bench)
        self.judge = Judge(self.bench)


def _idle(walk: Walk) -> None:
    walk.run(10)


def _armed(walk: Walk) -> None:
    walk.ask("arm")


def _leading(walk: Walk) -> None:
    walk.ask("arm")
    walk.ask("fire")
    walk.run(50)
    assert walk.bench.box.shot.state == shots.FIRING
    assert walk.board.outputs_closed() == 0b0101


def _closed(walk: Walk) -> None:
    _leading(walk)
    walk.run(90)
    assert walk.board.outputs_closed() == 0b1111


def _listening(walk: Walk) -> None:
    _closed(walk)
    walk.run(200)
    assert walk.bench.box.shot.state == shots.LISTENING


def _fired(walk: Walk) -> None:
    _listening(walk)
    walk.run(400)
    assert walk.bench.box.shot.state == shots.IDLE


def _pulsing(walk: Walk) -> None:
    walk.ask("arm")
    walk.ask("pulse")
    assert walk.board.outputs_closed() == 0b0010


def _watching(walk: Walk) -> None:
    walk.ask("watch")


def _half_held(walk: Walk) -> None:
    walk.board.contacts["button_half"] = 1
    walk.run(50)
    assert walk.board.outputs_closed() == 0b0101


def _field_firing(walk: Walk) -> None:
    walk.board.contacts["button_full"] = 1
    walk.run(350)
    walk.board.contacts["button_full"] = 0
    assert walk.board.outputs_closed() == 0b1111


def _interlock_open(walk: Walk) -> None:
    walk.board.open_interlock()
    walk.run(30)


def _hand_wound(walk: Walk) -> None:
    walk.bench.ok("put", values={"manual_wind": 1})
    walk.ask("arm")


STATES: dict[str, Callable[[Walk], None]] = {
    "idle": _idle,
    "armed": _armed,
    "leading": _leading,
    "closed": _closed,
    "listening": _listening,
    "fired": _fired,
    "pulsing": _pulsing,
    "watching": _watching,
    "half held": _half_held,
    "field firing": _field_firing,
    "interlock open": _interlock_open,
    "hand wound": _hand_wound,
}


def _no_fault(walk: Walk) -> None:
    walk.run(5)


def _open(walk: Walk) -> None:
    walk.board.open_interlock()


def _open_on_stuck_hardware(walk: Walk) -> None:
    walk.board.hardware_stuck = True
    walk.board.open_interlock()


def _close_again(walk: Walk) -> None:
    walk.board.open_interlock()
    walk.run(30)
    walk.board.interlock = True


def _silence(walk: Walk) -> None:
    walk.run(SILENCE_MS + 100)
    assert not walk.bench.box.guard.armed


def _loop_fails(walk: Walk) -> None:
    walk.board.raise_in["read_edges"] = ValueError("fate")


def _fire_fails(walk: Walk) -> None:
    walk.board.raise_in["start_pair"] = MemoryError()


def _flash_fails(walk: Walk) -> None:
    walk.board.files.fail = True


def _stuck(walk: Walk) -> None:
    walk.board.hardware_stuck = True


def _noise(walk: Walk) -> None:
    walk.board.arrive(bytes(range(256)) + b'{"id": 1, "do": "fire", "shot": 99}\n' + b"\x03\x03\n")


def _overrun(walk: Walk) -> None:
    walk.board.lost = 1000


def _reboot(walk: Walk) -> None:
    walk.reboot()


FAULTS: dict[str, Callable[[Walk], None]] = {
    "none": _no_fault,
    "interlock opens": _open,
    "interlock opens, hardware stuck": _open_on_stuck_hardware,
    "interlock opens and closes": _close_again,
    "host silent": _silence,
    "loop fails": _loop_fails,
    "fire fails": _fire_fails,
    "flash fails": _flash_fails,
    "hardware stuck": _stuck,
    "noise": _noise,
    "overrun": _overrun,
    "reboot": _reboot,
}


def settle(walk: Walk) -> None:
    """Let everything come to rest: outputs must be open, whoever held them."""
    for name in walk.board.contacts:
        walk.board.contacts[name] = 0
    walk.run(700)
    assert walk.board.outputs_closed() == 0


@pytest.mark.parametrize("state", STATES)
def test_every_request_and_every_fault(state: str) -> None:
    for fault, strike in FAULTS.items():
        for verb in REQUESTS:
            for request_first in (True, False):
                walk = Walk()
                STATES[state](walk)
                try:
                    if request_first:
                        walk.ask(verb)
                        strike(walk)
                    else:
                        strike(walk)
                        walk.ask(verb)
                    walk.run(60)
                    settle(walk)
                    assert "ok" in walk.ask("status")
                except AssertionError as wrong:
                    raise AssertionError(f"{state} / {verb} / {fault} / {request_first=}: {wrong}") from wrong


class AnyOrder(RuleBasedStateMachine):
    """Host, finger and fate in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.walk = Walk()

    @rule(verb=st.sampled_from(sorted(REQUESTS)))
    def ask(self, verb: str) -> None:
        self.walk.ask(verb)

    @rule()
    def arm_and_fire(self) -> None:
        self.walk.ask("arm")
        self.walk.ask("fire")

    @rule(ms=st.sampled_from((1, 7, 40, 130, 400, 1500, 3200)))
    def wait(self, ms: int) -> None:
        self.walk.run(ms)

    @rule(name=st.sampled_from(("button_half", "button_full", "wound", "preset")), down=st.integers(0, 1))
    def finger(self, name: str, down: int) -> None:
        self.walk.board.contacts[name] = down
        self.walk.run(8)

    @rule(name=st.sampled_from(sorted(FAULTS)))
    def fate(self, name: str) -> None:
        FAULTS[name](self.walk)

    @precondition(lambda self: not self.walk.board.interlock)
    @rule()
    def close_interlock(self) -> None:
        self.walk.board.interlock = True

    @rule()
    def repair(self) -> None:
        self.walk.board.hardware_stuck = False
        self.walk.board.files.fail = False

    @invariant()
    def outputs_are_as_allowed(self) -> None:
        self.walk.judge.look()

    def teardown(self) -> None:
        settle(self.walk)


AnyOrder.TestCase.settings = settings(
    max_examples=40,
    stateful_step_count=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
test_any_order = pytest.mark.filterwarnings("default")(AnyOrder.TestCase)


class AnyOrderLong(AnyOrder):
    """The same, for longer."""


AnyOrderLong.TestCase.settings = settings(
    max_examples=1500,
    stateful_step_count=80,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
test_any_order_for_long = pytest.mark.soak(AnyOrderLong.TestCase)
