"""A series: wait, wind, arm, fire, collect, and what may come between."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass

from coincide.box.answering import Answers
from coincide.box.cable.answers import BoxRefused, Event, need
from coincide.box.cable.client import BoxClient
from coincide.box.cable.drain import BAD_LINE, DRAIN_PATIENCE_S, LISTEN_S, UNDER_WAY, drain
from coincide.box.cable.lost import PortLost
from coincide.box.collect import Collector, whole
from coincide.box.plans import (
    NUMBERS_PER_SESSION,
    Ending,
    SeriesOutcome,
    SeriesPlan,
    SessionSink,
    number_base,
)
from coincide.errors import BoxFailed
from coincide.session.model import ShotRecord

ARM_MARGIN_MS = 4000
STAYS_ARMED_S = 20.0
BUSY_MOST_S = 10.0  # and then the box is asked again, whatever it said
LATE_S = 5.0  # a `shot` event later than this after its window may have gone astray
RESTARTS_MOST = 2  # while one pair is under way: then it is the firing that does it
LOSSES_MOST = 20  # before one pair is in, however the box came back

RESETS = (
    "The box restarted again ({cause}) when pair {shot} was fired: the supply dips when the release pulls. It is not "
    "fired again. Feed the solenoids from a supply of their own, check the cable and the diode across each coil, then "
    "run the same command again; the pairs before are kept."
)
LOST_AGAIN = (
    "The box was lost {count} times before pair {shot} was in: check cable and supply, and 'coincide box check'; then "
    "run the same command again. The pairs before are kept."
)


class _NotFired(Exception):
    """A pair was stopped before any full-press left the box."""


class _Ended(Exception):
    """Something ends the series, and it is not a failure."""

    def __init__(self, ending: Ending) -> None:
        super().__init__(ending)
        self.ending: Ending = ending


@dataclass(frozen=True, slots=True)
class Ears:
    """Who is told of what: pairs kept, sentences, and what the person should do now."""

    on_shot: Callable[[ShotRecord], None]
    on_note: Callable[[str], None]
    on_prompt: Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Wishes:
    """What the person, or the caller, wants: asked now and then."""

    wound: Callable[[], bool]
    stop: Callable[[], bool]
    enough: Callable[[], bool]


class Series:
    """One run of a series; see `conduct.run_series`."""

    def __init__(
        self,
        client: BoxClient,
        writer: SessionSink,
        plan: SeriesPlan,
        ears: Ears,
        wishes: Wishes,
    ) -> None:
        self._client = client
        self._writer = writer
        self._plan = plan
        self._wound = wishes.wound
        self._stop = wishes.stop
        self._enough = wishes.enough
        self._on_prompt = ears.on_prompt
        self._collector = Collector(client, writer, ears.on_shot, ears.on_note)
        self._answers = Answers(plan.names, plan.senses, plan.manual_wind)
        self._base = number_base(writer.header)
        self._began_with = writer.last_shot
        self._kept = 0
        self._next_s = client.port.now_s()
        self._stopping = False
        self._fired = 0  # the pair that was asked for last
        self._troubled = 0  # the pair before which the box was lost last
        self._restarts = 0  # while that pair was under way
        self._losses = 0

    def run(self) -> SeriesOutcome:
        """Fire until the session is full or something ends it."""
        ending: Ending = "complete"
        begun, unsure = False, True
        try:
            while True:
                try:
                    if not begun:
                        self._client.read_again()
                    if unsure:
                        self._settle()
                        unsure = False
                    if not begun:
                        # Armed by a run that broke off a moment ago, the box would hold on to that one's numbers.
                        self._client.disarm()
                        begun = True
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
        return self._writer.last_shot >= self._plan.pairs or (self._kept > 0 and self._enough())

    # -- before and between ---------------------------------------------------------------------------------

    def _settle(self) -> None:
        """Leave nothing undone in the box: a pair under way, events never read, a watch, the wrong winding."""
        client = self._client
        status = client.status()
        if status.watching:
            client.watch(False)
        drain(client, lambda: self._listen(LISTEN_S))
        wanted = int(self._plan.manual_wind)
        if need(client.settings(), "values", dict).get("manual_wind") != wanted:
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
        self._on_prompt(f"Pair {shot}: wind both bodies, then press 'wound' on the box or Enter here.")
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
                self._fired = shot
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
            wait_ms = refused.more.get("wait_ms")
            wait_s = wait_ms / 1000 if isinstance(wait_ms, int) else LISTEN_S
            self._listen(min(max(wait_s, 0.001), BUSY_MOST_S))
        elif refused.code in ("unread", "not_armed"):
            self._listen(LISTEN_S)
        else:
            raise refused

    def _collect(self, shot: int) -> None:
        """Listen until pair `shot` is in the file."""
        plan, client = self._plan.plan, self._client
        later_s = max(plan.delay_a_ns, plan.delay_b_ns) * 1e-9
        lasts_s = plan.lead_ns * 1e-9 + later_s + max(plan.closure_ns, plan.window_ns) * 1e-9
        late_s = LATE_S * client.talk.slowdown
        deadline = client.port.now_s() + lasts_s + late_s
        given_up = deadline + DRAIN_PATIENCE_S * client.talk.slowdown
        opened = False
        while self._writer.last_shot < shot:
            if self._stop_wished and not opened:
                # The pair may have been exposed: open everything, and still wait for what it has to say.
                client.ensure_open()
                opened = True
            self._listen(LISTEN_S)
            if client.port.now_s() > deadline and self._writer.last_shot < shot:
                self._check_still_to_come(shot)
                deadline += late_s
                if deadline > given_up:
                    raise BoxFailed(BAD_LINE.format(port=client.port.name))

    def _check_still_to_come(self, shot: int) -> None:
        """Raises when the box is through with pair `shot` and holds nothing that was not read: it failed inside."""
        status = self._client.status()
        if status.state in UNDER_WAY or self._client.events_to_come(status):
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
        number = whole(event.fields, "shot") - self._base if event.kind == "shot" else 0
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
        if shot != self._troubled:
            self._troubled, self._restarts, self._losses = shot, 0, 0
        self._losses += 1
        self._collector.note("port lost", f"Before pair {shot} was in: {lost}")
        try:
            restarted = self._client.reconnect(self._plan.box_patience_s)
        except PortLost as gone:
            self._collector.note("box lost", str(gone))
            raise _Ended("box lost") from gone
        if restarted:
            self._collector.restarted()
            cause = self._client.identity.reset_cause
            self._restarts += self._fired == shot
            if self._restarts >= RESTARTS_MOST:
                self._collector.note("box resets", RESETS.format(cause=cause, shot=shot))
                raise _Ended("box resets")
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

        if self._losses >= LOSSES_MOST:
            self._collector.note("box resets", LOST_AGAIN.format(count=self._losses, shot=shot))
            raise _Ended("box resets")

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
