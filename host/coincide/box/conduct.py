"""Conducting: a series of pairs, or a watch, from the box into a session file, whatever happens on the way."""

from __future__ import annotations

import contextlib
from collections.abc import Callable

from coincide.errors import BoxFailed
from coincide.session.model import ShotRecord

from .answering import Answers
from .answers import BoxRefused, Event
from .client import BoxClient
from .collect import Collector
from .interrupts import Interrupts
from .lost import PortLost
from .plans import (
    NUMBERS_PER_SESSION,
    Ending,
    SeriesOutcome,
    SeriesPlan,
    SessionSink,
    WatchOutcome,
    number_base,
)

LISTEN_S = 0.25  # how long a wish to stop, or Enter for 'wound', may go unnoticed
ARM_MARGIN_MS = 4000
STAYS_ARMED_S = 20.0
LATE_S = 5.0  # a `shot` event later than this after its window has gone astray


def _never() -> bool:
    return False


def _unheard(_: object) -> None:
    """Nobody listens."""


class _NotFired(Exception):
    """A pair was stopped before any full-press left the box."""


class _Ended(Exception):
    def __init__(self, ending: Ending) -> None:
        super().__init__(ending)
        self.ending: Ending = ending


def run_series(
    client: BoxClient,
    writer: SessionSink,
    plan: SeriesPlan,
    on_shot: Callable[[ShotRecord], None] = _unheard,
    *,
    wound: Callable[[], bool] = _never,
    on_note: Callable[[str], None] = _unheard,
    stop: Callable[[], bool] = _never,
) -> SeriesOutcome:
    """Fire pairs until the session holds `plan.pairs`, each safe on disk before the box may forget it.

    `on_shot` is told of each pair once it is kept, `on_note` of each sentence for the person as it comes up.
    `wound` is asked now and then while the box waits for winding, and answers whether the person said so;
    the box's own button or foot switch counts as well. `stop` is asked between steps; Ctrl-C does the same.
    Whatever ends the series, all outputs are open and everything measured is in the file.
    """
    with Interrupts() as interrupts:
        series = _Series(client, writer, plan, on_shot, on_note, wound, lambda: interrupts.wished or stop())
        return series.run()


def watch(
    client: BoxClient,
    writer: SessionSink,
    on_group: Callable[[ShotRecord], None] = _unheard,
    *,
    gap_s: float = 0.5,
    groups: int | None = None,
    quiet_s: float | None = None,
    box_patience_s: float = 60.0,
    on_note: Callable[[str], None] = _unheard,
    stop: Callable[[], bool] = _never,
) -> WatchOutcome:
    """Listen without firing; each group of edges, ended by `gap_s` of quiet, becomes a record without a plan.

    Ends after `groups`, after `quiet_s` without a group, with `stop`, or with Ctrl-C.
    """
    with Interrupts() as interrupts:
        listening = _Watch(client, writer, on_group, on_note, gap_s, lambda: interrupts.wished or stop())
        return listening.run(groups, quiet_s, box_patience_s)


class _Series:
    def __init__(
        self,
        client: BoxClient,
        writer: SessionSink,
        plan: SeriesPlan,
        on_shot: Callable[[ShotRecord], None],
        on_note: Callable[[str], None],
        wound: Callable[[], bool],
        stop: Callable[[], bool],
    ) -> None:
        self._client = client
        self._writer = writer
        self._plan = plan
        self._wound = wound
        self._stop = stop
        self._on_note = on_note
        self._collector = Collector(client, writer, on_shot, on_note)
        self._answers = Answers(plan.names, plan.senses, plan.manual_wind)
        self._base = number_base(writer.header)
        self._began_with = writer.last_shot
        self._kept = 0
        self._next_s = client.port.now_s()
        self._stopping = False

    def run(self) -> SeriesOutcome:
        ending: Ending = "complete"
        unsure = True
        try:
            while True:
                try:
                    if unsure:
                        self._settle()
                        unsure = False
                    if self._done:
                        break
                    self._pair(self._writer.last_shot + 1)
                except _NotFired:
                    unsure = True
                except PortLost as lost:
                    self._recover(lost)
                    unsure = True
        except _Ended as ended:
            ending = ended.ending
        except BaseException:
            # Whatever it is, it is told; but not with a release closed.
            with contextlib.suppress(BoxFailed):
                self._client.ensure_open()
            raise
        self._leave(ending)
        return SeriesOutcome(
            ending,
            self._kept,
            self._writer.last_shot,
            (self._answers.silent[0], self._answers.silent[1]),
            tuple(self._collector.sentences),
        )

    @property
    def _done(self) -> bool:
        return self._writer.last_shot >= self._plan.pairs

    # -- before and between ---------------------------------------------------------------------------------

    def _settle(self) -> None:
        """Leave nothing undone in the box: a pair under way, events never read, a watch, the wrong winding."""
        client = self._client
        status = client.status()
        if status.watching:
            client.watch(False)
        while status.state in ("firing", "listening") or client.events_to_come(status):
            self._listen(LISTEN_S)
            status = client.status()
        wanted = int(self._plan.manual_wind)
        if client.settings()["values"].get("manual_wind") != wanted:
            client.put_settings({"manual_wind": wanted})

    def _wait_for_interval(self, shot: int) -> None:
        while (left := self._next_s - self._client.port.now_s()) > 0:
            self._check_stop(shot)
            self._listen(min(left, LISTEN_S * 4))

    def _wait_until_wound(self, shot: int) -> None:
        if not self._plan.manual_wind:
            return
        client, collector = self._client, self._collector
        if client.status().wound:
            return
        self._on_note(f"Pair {shot}: wind both bodies, then press 'wound' on the box or Enter here.")
        deadline = client.port.now_s() + self._plan.wound_patience_s
        collector.wound = False
        while not collector.wound:
            self._check_stop(shot)
            if self._wound():
                client.wound()
                return
            if client.port.now_s() >= deadline:
                collector.note(
                    "not wound",
                    f"Nobody said 'wound' for {self._plan.wound_patience_s:.0f} s before pair {shot}: "
                    "run the same command again; the series goes on where it stopped.",
                )
                raise _Ended("not wound")
            self._listen(LISTEN_S)

    @property
    def _stop_wished(self) -> bool:
        # Asked once is enough: the wish may have been put while something else was being waited for.
        self._stopping = self._stopping or self._stop()
        return self._stopping

    def _check_stop(self, shot: int) -> None:
        """Raises an ending when somebody wants one: by hand, or by opening the interlock."""
        if self._stop_wished:
            raise _Ended("stopped")
        if self._collector.interlock_opened:
            self._end_for_interlock(f"The interlock was opened before pair {shot}")

    def _end_for_interlock(self, what: str) -> None:
        self._collector.note(
            "interlock",
            f"{what}: close it and run the same command again; the series goes on where it stopped.",
        )
        raise _Ended("interlock")

    # -- one pair -------------------------------------------------------------------------------------------

    def _pair(self, shot: int) -> None:
        """Pair `shot` fired and kept; or an ending raised."""
        self._wait_for_interval(shot)
        self._wait_until_wound(shot)
        self._check_stop(shot)
        self._fire(shot)
        self._collect(shot)
        if not self._stays_armed:
            self._client.disarm()
        sentence = self._answers.given_up(self._plan.silent_most)
        if sentence is not None:
            self._collector.note("silent body", sentence)
            raise _Ended("silent body")

    @property
    def _stays_armed(self) -> bool:
        """Between pairs that follow closely, so that the photographer's own button does not fire among them; where
        bodies are wound by hand each pair is armed on its own."""
        return not self._plan.manual_wind and self._plan.interval_s <= STAYS_ARMED_S

    def _fire(self, shot: int) -> None:
        """Arm and fire, dealing with what may stand in the way."""
        plan, client = self._plan.plan, self._client
        later_ns = max(plan.delay_a_ns, plan.delay_b_ns)
        lasts_ms = (plan.lead_ns + later_ns + max(plan.closure_ns, plan.window_ns)) // 1_000_000
        if self._stays_armed:
            lasts_ms = max(lasts_ms, round(self._plan.interval_s * 1000))
        while True:
            self._check_stop(shot)
            try:
                client.arm(min(lasts_ms + ARM_MARGIN_MS, 60_000))
                start_s = client.port.now_s()
                client.fire(self._base + shot, plan)
            except BoxRefused as refused:
                self._overcome(refused, shot)
            else:
                self._next_s = start_s + self._plan.interval_s
                return

    def _overcome(self, refused: BoxRefused, shot: int) -> None:
        """Do what a refusal asks for; raises when only the person can."""
        if refused.code == "interlock":
            self._end_for_interlock(f"The interlock is open before pair {shot}")
        if refused.code == "not_wound":
            self._wait_until_wound(shot)
        elif refused.code == "busy":
            wait_ms = refused.more.get("wait_ms", LISTEN_S * 1000)
            self._listen(max(float(wait_ms) / 1000, 0.001))
        elif refused.code in ("unread", "not_armed"):
            self._listen(LISTEN_S)
        else:
            raise refused

    def _collect(self, shot: int) -> None:
        """Listen until pair `shot` is in the file."""
        plan, client = self._plan.plan, self._client
        later_s = max(plan.delay_a_ns, plan.delay_b_ns) * 1e-9
        lasts_s = plan.lead_ns * 1e-9 + later_s + max(plan.closure_ns, plan.window_ns) * 1e-9
        deadline = client.port.now_s() + lasts_s + LATE_S * client.talk.slowdown
        opened = False
        while self._writer.last_shot < shot:
            if self._stop_wished and not opened:
                # The pair may have been exposed: open everything, and still wait for what it has to say.
                client.ensure_open()
                opened = True
            self._listen(LISTEN_S)
            if client.port.now_s() > deadline and self._writer.last_shot < shot:
                self._check_still_to_come(shot)
                deadline += LATE_S * client.talk.slowdown

    def _check_still_to_come(self, shot: int) -> None:
        """Raises when the box is through with pair `shot` and holds nothing that was not read: it failed inside."""
        status = self._client.status()
        if status.state in ("firing", "listening") or self._client.events_to_come(status):
            return
        raise BoxFailed(
            f"The box fired pair {shot} and lost what it saw: run 'coincide box check'; the pairs before it are kept."
        )

    def _listen(self, timeout_s: float) -> None:
        """Deal with one event, if one comes in time."""
        event = self._client.event(timeout_s)
        if event is not None:
            event = self._collector.take(event)
        if event is not None:
            self._file(event)

    def _file(self, event: Event) -> None:
        """A complete pair: into this session if it is its next, else aside."""
        number = event.fields.get("shot", 0) - self._base if event.kind == "shot" else 0
        next_one = number == self._writer.last_shot + 1 and number < NUMBERS_PER_SESSION
        if next_one and event.fields.get("full_a") is None and event.fields.get("full_b") is None:
            self._collector.set_aside(
                event, f"Pair {number} was stopped before any full-press: it does not count."
            )
            raise _NotFired
        if next_one:
            record = self._collector.keep(event, number, self._plan.plan)
            self._kept += 1
            for kind, say in self._answers.judge(record):
                self._collector.note(kind, say, {"shot": number})
        elif 1 <= number <= self._writer.last_shot:
            self._collector.skip(event)
        else:
            self._collector.set_aside(
                event, "The box still held a pair or group of an earlier run; its edges are kept in a remark."
            )

    # -- trouble and the end --------------------------------------------------------------------------------

    def _recover(self, lost: PortLost) -> None:
        """Wait for the box and go on with it; an ending when it stays away."""
        shot = self._writer.last_shot + 1
        self._collector.note("port lost", f"Before pair {shot} was in: {lost}")
        try:
            restarted = self._client.reconnect(self._plan.box_patience_s)
        except PortLost as gone:
            self._collector.note("box lost", str(gone))
            raise _Ended("box lost") from gone
        if restarted:
            self._collector.restarted()
            cause = self._client.identity.reset_cause
            self._collector.note(
                "box restarted",
                f"The box restarted ({cause}) around pair {shot}: that pair may have been fired without being "
                "measured; it is fired again.",
                {"cause": cause, "boot": self._client.identity.boot},
            )
        else:
            self._collector.note(
                "reconnected", f"The box is back on {self._client.port.name}; nothing was lost."
            )

    def _leave(self, ending: Ending) -> None:
        """Outputs open, in whatever state the box is left."""
        if ending == "stopped":
            self._collector.note(
                "stopped",
                "Stopped by hand; the pairs so far are kept and the same command goes on with them.",
            )
        if ending != "box lost":
            try:
                self._client.ensure_open()
            except PortLost:
                # Without its host the box opens by itself.
                self._collector.note(
                    "port lost", "The box went away at the end; its outputs open by themselves."
                )


class _Watch:
    def __init__(
        self,
        client: BoxClient,
        writer: SessionSink,
        on_group: Callable[[ShotRecord], None],
        on_note: Callable[[str], None],
        gap_s: float,
        stop: Callable[[], bool],
    ) -> None:
        self._client = client
        self._writer = writer
        self._collector = Collector(client, writer, on_group, on_note)
        self._gap_ns = round(gap_s * 1e9)
        self._stop = stop
        self._kept = 0
        self._heard_s = client.port.now_s()

    def run(self, groups: int | None, quiet_s: float | None, patience_s: float) -> WatchOutcome:
        ending: Ending = "complete"
        try:
            self._begin()
            while groups is None or self._kept < groups:
                if self._stop():
                    ending = "stopped"
                    break
                if quiet_s is not None and self._client.port.now_s() - self._heard_s >= quiet_s:
                    break
                try:
                    self._listen()
                except PortLost as lost:
                    self._recover(lost, patience_s)
            self._end()
        except PortLost as gone:
            self._collector.note("box lost", str(gone))
            ending = "box lost"
        return WatchOutcome(ending, self._kept, tuple(self._collector.sentences))

    def _begin(self) -> None:
        """Set aside what an earlier run left, then listen."""
        status = self._client.status()
        while status.state in ("firing", "listening") or status.last_event >= (
            self._client.talk.next_event or 0
        ):
            event = self._client.event(LISTEN_S)
            left = None if event is None else self._collector.take(event)
            if left is not None:
                self._collector.set_aside(
                    left,
                    "The box still held a pair or group of an earlier run; its edges are kept in a remark.",
                )
            status = self._client.status()
        self._client.disarm()
        self._client.watch(True, self._gap_ns)

    def _listen(self) -> None:
        event = self._client.event(LISTEN_S)
        event = None if event is None else self._collector.take(event)
        if event is None:
            return
        self._heard_s = self._client.port.now_s()
        if event.kind == "group":
            self._collector.keep(event, self._writer.last_shot + 1, None)
            self._kept += 1
        else:
            self._collector.set_aside(
                event, "A pair was fired while watching; its edges are kept in a remark."
            )

    def _recover(self, lost: PortLost, patience_s: float) -> None:
        self._collector.note("port lost", str(lost))
        if self._client.reconnect(patience_s):
            self._collector.restarted()
            self._collector.note("box restarted", "The box restarted; groups meanwhile were not seen.")
            self._client.watch(True, self._gap_ns)

    def _end(self) -> None:
        """Stop listening; a group that was open is told by that, and kept."""
        self._client.watch(False)
        while self._client.events_to_come(self._client.status()):
            self._listen()
