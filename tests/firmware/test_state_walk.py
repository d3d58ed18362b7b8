"""Every state of the box, every request, every fault: no closure without permission, none beyond its limit,
none with the interlock open.

Three ways round the same judge (walking.py): a full table of named states, requests and faults; a walk that goes
breadth first through all the states there are, whatever their names; and hypothesis, in any order, for long.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from coincide_firmware.app import shots
from coincide_firmware.app.messages import REQUESTS, SILENCE_MS
from tests.firmware.walking import FAULTS, MS, Walk, no_collection, unpacked


@pytest.fixture(autouse=True)
def _no_collection() -> Iterator[None]:
    with no_collection():
        yield


# -- the table: states that have a name ------------------------------------------------------------


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


def _leaving(walk: Walk) -> None:
    walk.ask("rescue")
    walk.run(20)


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
    "leaving for rescue mode": _leaving,
}


@pytest.mark.parametrize("state", STATES)
def test_every_request_and_every_fault(state: str) -> None:
    begun = Walk()
    STATES[state](begun)
    snapshot = begun.packed()
    for fault, strike in FAULTS.items():
        for verb in REQUESTS:
            for request_first in (True, False):
                walk = unpacked(snapshot)
                try:
                    if request_first:
                        walk.ask(verb)
                        strike(walk)
                    else:
                        strike(walk)
                        walk.ask(verb)
                    walk.run(60)
                    walk.settle()
                except AssertionError as wrong:
                    raise AssertionError(f"{state} / {verb} / {fault} / {request_first=}: {wrong}") from wrong


# -- breadth first: all the states there are -----------------------------------------------------------


def essence(walk: Walk) -> tuple[object, ...]:
    """What tells two states of the box apart, as far as a closure can hang on it."""
    box, board = walk.bench.box, walk.board
    shot, guard = box.shot, box.guard
    closed = board.outputs_closed()
    return (
        shot.state,
        shot.source if shot.busy else "",
        guard.armed,
        board.interlock,
        box.field.holding,
        board.contacts["button_half"] or board.contacts["button_full"],
        box.watch.on,
        box.settings.values["manual_wind"] - box.wound,
        bool(closed & 0b0101) + 2 * bool(closed & 0b1010),
        board.hardware_stuck,
        box._leaves_ms >= 0,
    )


def fine_essence(walk: Walk) -> tuple[object, ...]:
    """More of the same: whether the pair was stopped, is told, may be followed; each output for itself."""
    box = walk.bench.box
    return (
        *essence(walk),
        box.shot.busy and box.shot.aborted is not None,
        box.shot_is_unread(),
        walk.board.contacts["button_half"],
        box.ms_until_next_shot(walk.board.millis()) > 0,
        walk.board.outputs_closed(),
    )


def _wound(walk: Walk) -> None:
    walk.press("wound", 1)
    walk.press("wound", 0)


def _until_told(walk: Walk) -> None:
    for _ in range(400):
        if walk.bench.box.shot.state in (shots.IDLE, shots.TELLING):
            return
        walk.step()


MOVES: dict[str, Callable[[Walk], object]] = {
    **{f"ask {verb}": lambda walk, verb=verb: walk.ask(verb) for verb in REQUESTS},  # type: ignore[misc]
    "ask for the same shot again": lambda walk: walk.ask("fire", shot=max(1, walk.shot)),
    "ask to watch no more": lambda walk: walk.ask("watch", on=0),
    "ask for manual wind": lambda walk: walk.ask("put", values={"manual_wind": 1}),
    "ask for no manual wind": lambda walk: walk.ask("put", values={"manual_wind": 0}),
    **{
        f"{name} {word}": lambda walk, name=name, down=down: walk.press(name, down)  # type: ignore[misc]
        for name in ("button_half", "button_full")
        for down, word in ((1, "down"), (0, "up"))
    },
    "wound pressed": _wound,
    **{f"{ms} ms pass": lambda walk, ms=ms: walk.run(ms) for ms in (15, 70, 200, 600)},  # type: ignore[misc]
    "a step of the loop": lambda walk: walk.step(),
    "time passes until the pair is told": _until_told,
    **FAULTS,
    "interlock closes": lambda walk: setattr(walk.board, "interlock", True),
    "hardware is mended": lambda walk: setattr(walk.board, "hardware_stuck", False),
}


def explore(
    moves: dict[str, Callable[[Walk], object]], essence: Callable[[Walk], tuple[object, ...]]
) -> tuple[set[tuple[object, ...]], int]:
    """Every state that can be reached, and the number of moves tried; each state is also let come to rest."""
    first = Walk()
    seen = {essence(first)}
    frontier: deque[tuple[bytes, tuple[str, ...]]] = deque([(first.packed(), ("boot",))])
    tried = 0
    while frontier:
        snapshot, path = frontier.popleft()
        for name, move in moves.items():
            walk = unpacked(snapshot)
            try:
                move(walk)
                walk.judge.look()
            except AssertionError as wrong:
                raise AssertionError(f"{' / '.join((*path, name))}: {wrong}") from wrong
            tried += 1
            state = essence(walk)
            if state not in seen:
                seen.add(state)
                frontier.append((walk.packed(), (*path, name)))
        walk = unpacked(snapshot)
        try:
            walk.settle()
        except AssertionError as wrong:
            raise AssertionError(f"{' / '.join(path)} / settled: {wrong}") from wrong
    return seen, tried


def test_every_state_that_can_be_reached_and_every_move_in_it() -> None:
    seen, tried = explore(MOVES, essence)
    assert tried == len(seen) * len(MOVES)
    # The walk went everywhere: shots of every source in every state (a frame of the field is told at once), and
    # both values, or more, of everything else.
    sources = (shots.HOST, shots.FIELD, shots.PULSE)
    assert {(state[0], state[1]) for state in seen} == {
        (shots.IDLE, ""),
        *((state, source) for state in (shots.FIRING, shots.LISTENING) for source in sources),
        *((shots.TELLING, source) for source in (shots.HOST, shots.PULSE)),
    }
    for place, values in ((2, 2), (3, 2), (4, 2), (6, 2), (8, 4), (9, 2), (10, 2)):
        assert len({state[place] for state in seen}) == values, place


@pytest.mark.soak
def test_every_state_told_apart_more_finely() -> None:
    seen, tried = explore(MOVES, fine_essence)
    assert tried == len(seen) * len(MOVES) > 50_000


# -- in any order --------------------------------------------------------------------------------------


class AnyOrder(RuleBasedStateMachine):
    """Host, finger and fate in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.walk = Walk()

    @rule(verb=st.sampled_from(sorted(REQUESTS)))
    def ask(self, verb: str) -> None:
        self.walk.ask(verb)

    @rule(
        lead_ms=st.integers(0, 2000),
        delay_ms=st.integers(0, 500),
        closure_ms=st.integers(1, 5000),
        window_ms=st.integers(10, 1000),
    )
    def arm_and_fire(self, lead_ms: int, delay_ms: int, closure_ms: int, window_ms: int) -> None:
        self.walk.ask("arm")
        self.walk.ask(
            "fire",
            lead_ns=lead_ms * MS,
            delay_a_ns=delay_ms * MS,
            closure_ns=closure_ms * MS,
            window_ns=window_ms * MS,
        )

    @rule(ms=st.sampled_from((1, 7, 40, 130, 400, 1500, 3200)))
    def wait(self, ms: int) -> None:
        self.walk.run(ms)

    @rule(name=st.sampled_from(("button_half", "button_full", "wound", "preset")), down=st.integers(0, 1))
    def finger(self, name: str, down: int) -> None:
        self.walk.press(name, down)

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
        for name in self.walk.board.contacts:
            self.walk.board.contacts[name] = 0
        self.walk.run(SILENCE_MS + 200)  # the longest closure a host may have asked for ends with its silence
        self.walk.settle()


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
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
)
test_any_order_for_long = pytest.mark.soak(AnyOrderLong.TestCase)
