"""The box as an object: every request a typed method, introductions first."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from coincide.box.cable.answers import (
    BoxIdentity,
    BoxRefused,
    BoxStatus,
    Event,
    FrameLogPage,
    identity_from,
    need,
    status_from,
)
from coincide.box.cable.conversation import NOISY_TRIES, SIGN_OF_LIFE_S, Conversation
from coincide.box.cable.lost import BoxSilent, PortLost
from coincide.box.cable.ports import Port
from coincide.box.cable.starting import starting_words, why_not_started
from coincide.errors import BoxFailed
from coincide.session.model import Plan
from coincide_firmware.app.messages import PROTOCOL
from coincide_firmware.app.version import FIRMWARE_VERSION

INTRODUCTION_TRIES = 5
FLASH_REPLY_S = 1.5  # writing flash takes its time
LOOK_AGAIN_S = 0.25


class BoxClient:
    """Talks with the box on `port`. The first thing said is `identify`.

    Raises BoxFailed in one sentence, within about two seconds, when nothing answers, when something else
    answers, or when the firmware is not the one this version goes with (unless `any_version`).
    """

    def __init__(
        self,
        port: Port,
        *,
        slowdown: float = 1.0,
        any_version: bool = False,
        starts_s: float = 0.0,
        starting: Callable[[str], object] | None = None,
    ) -> None:
        """`starts_s`: so long a port that says nothing is taken for a box that is starting; `starting` is told."""
        self.port = port
        self.talk = Conversation(port, slowdown)
        self.cautions_read = False  # said by who opened it; the bench test asks
        self._any_version = any_version
        self._starts_s = starts_s * slowdown
        self._starting = starting
        self.identity = self._introduce(None)

    # -- who and how --------------------------------------------------------------------------------------

    def identify(self) -> BoxIdentity:
        """Ask again who is there."""
        self.identity = identity_from(self.talk.ask("identify"))
        return self.identity

    def status(self) -> BoxStatus:
        """The state now. Raises PortLost when the box has restarted since it was identified."""
        status = status_from(self.talk.check_for_lost())
        if status.boot != self.identity.boot:
            raise PortLost(f"The box on {self.port.name} has restarted.")
        return status

    def settings(self) -> dict[str, Any]:
        """{"values": {...}, "presets": [names], "ok": bool, "say": sentence}."""
        return self.talk.ask("get")

    def put_settings(self, values: dict[str, int]) -> dict[str, Any]:
        """Store values; what is stored comes back."""
        return self.talk.ask("put", {"values": values}, reply_s=FLASH_REPLY_S)

    def preset(self, place: int) -> dict[str, Any] | None:
        """The preset stored in a place, 0 to 7, or None."""
        values = self.talk.ask("get", {"preset": place}).get("values")
        return values if isinstance(values, dict) else None

    def put_preset(self, place: int, values: dict[str, Any] | None) -> None:
        """Store a preset in a place; None empties it."""
        self.talk.ask("put", {"preset": place, "values": values}, reply_s=FLASH_REPLY_S)

    # -- firing -------------------------------------------------------------------------------------------

    def arm(self, timeout_ms: int) -> None:
        """Allow firing for so long."""
        self.talk.ask("arm", {"timeout_ms": timeout_ms})

    def disarm(self) -> None:
        """No firing from now on."""
        self.talk.ask("disarm")

    def ensure_open(self) -> None:
        """All outputs are open when this returns, and the box is disarmed."""
        self.talk.ask("ensure_open")

    def fire(self, shot: int, plan: Plan) -> bool:
        """Fire one pair. False when that pair had been fired before and nothing was fired now."""
        reply = self.talk.ask(
            "fire",
            {
                "shot": shot,
                "delay_a_ns": plan.delay_a_ns,
                "delay_b_ns": plan.delay_b_ns,
                "lead_ns": plan.lead_ns,
                "closure_ns": plan.closure_ns,
                "window_ns": plan.window_ns,
            },
        )
        return not need(reply, "again", bool)

    def wound(self) -> None:
        """The person says both bodies are wound."""
        self.talk.ask("wound")

    def pulse(self, output: int, closure_ns: int) -> None:
        """Zero check: close one output (0..3: half_a, full_a, half_b, full_b). Its edges come as shot 0."""
        self.talk.ask("pulse", {"output": output, "closure_ns": closure_ns})

    def pull_downs(self) -> int:
        """Mask of the outputs (1 << number) whose pins a resistor outside holds low; the interlock must be open."""
        return need(self.talk.ask("pull_downs"), "held", int)

    def lamps(self, lamps: int, step_ns: int, rows: int) -> None:
        """Run the lamp row."""
        self.talk.ask("lamps", {"lamps": lamps, "step_ns": step_ns, "rows": rows})

    # -- listening ----------------------------------------------------------------------------------------

    def watch(self, on: bool, gap_ns: int = 500_000_000) -> None:
        """Begin or end listening without firing."""
        self.talk.ask("watch", {"on": int(on), "gap_ns": gap_ns})

    def event(self, timeout_s: float, *, sign_of_life_s: float = SIGN_OF_LIFE_S) -> Event | None:
        """The next event in order, each once; None after `timeout_s`."""
        return self.talk.event(timeout_s, sign_of_life_s=sign_of_life_s)

    def events_to_come(self, status: BoxStatus) -> bool:
        """Whether there are events the host has not taken, here or, by that status, still in the box."""
        expected = self.talk.next_event
        return self.talk.queued > 0 or (expected is not None and status.last_event >= expected)

    def read_again(self) -> None:
        """All that the box still holds comes once more: what an earlier run took and could not put on a disk, too."""
        self._read_from_oldest(begin=True)

    def ack(self, upto: int) -> None:
        """Everything up to this event is safe here."""
        self.talk.ask("ack", {"upto": upto})

    # -- frame log and crash record -----------------------------------------------------------------------

    def framelog(self, start: int, count: int = 8) -> FrameLogPage:
        """A page of the frame log."""
        reply = self.talk.ask("framelog", {"start": start, "count": count})
        return FrameLogPage(
            entries=need(reply, "entries", int),
            capacity=need(reply, "capacity", int),
            start=start,
            page=tuple(tuple(entry) for entry in need(reply, "list", list) if isinstance(entry, list)),
            raw=reply,
        )

    def framelog_clear(self, entries: int) -> None:
        """Empty the frame log, which holds `entries` that have been read."""
        try:
            self.talk.ask("framelog_clear", {"entries": entries}, reply_s=FLASH_REPLY_S)
        except BoxRefused:
            # A repeat whose first reply was lost finds the log empty already.
            if entries == 0 or self.framelog(0, 1).entries:
                raise

    def crash(self) -> dict[str, Any] | None:
        """The record of the last crash, or None."""
        crash = self.talk.ask("crash").get("crash")
        return crash if isinstance(crash, dict) else None

    def crash_clear(self) -> None:
        """Forget the crash."""
        self.talk.ask("crash_clear", reply_s=FLASH_REPLY_S)

    # -- coming and going ---------------------------------------------------------------------------------

    def reconnect(self, patience_s: float) -> bool:
        """After PortLost: wait for the same box, perhaps under a new name. True when it has restarted meanwhile.

        Raises PortLost when it does not come back in time, BoxFailed when another box comes instead.
        """
        deadline = self.port.now_s() + patience_s
        before = self.identity
        while True:
            try:
                if self.port.reopen():
                    self.identity = self._introduce(before)
                    return self.identity.boot != before.boot
            except PortLost:
                pass
            if self.port.now_s() >= deadline:
                raise PortLost(
                    f"The box has not come back within {patience_s:.0f} s: plug it in and go on with the same "
                    "session; what was measured is kept."
                )
            self.port.wait(LOOK_AGAIN_S)

    def close(self) -> None:
        """Let go of the port."""
        self.port.close()

    def _introduce(self, known: BoxIdentity | None) -> BoxIdentity:
        self.talk.start_over()
        before = self.talk.lines
        begun_s = self.port.now_s()
        try:
            # A stranger that talks nonsense is not worth the patience a known box is.
            noisy = INTRODUCTION_TRIES if known is None else NOISY_TRIES
            reply = self.talk.ask("identify", tries=INTRODUCTION_TRIES, noisy_tries=noisy)
        except BoxSilent:
            if known is not None:
                raise
            said = None if self.talk.heard else self._when_started(begun_s + self._starts_s)
            if said is None:
                why = why_not_started(self.port.name, self.talk.heard)
                raise BoxFailed(why or self._stranger(self.talk.lines > before)) from None
            reply = said
        self._check_version(reply)
        identity = identity_from(reply)
        if known is not None and known.uid != identity.uid:
            raise BoxFailed(
                f"Another box answers on {self.port.name}: plug in the one the series was begun with."
            )
        self._read_from_oldest(begin=known is None or known.boot != identity.boot)
        return identity

    def _when_started(self, until_s: float) -> dict[str, Any] | None:
        """The introduction of a box that was starting, or None when it has said nothing, or nonsense, until then."""
        if self.port.now_s() < until_s and self._starting is not None:
            self._starting(starting_words(self.port.name))
        while self.port.now_s() < until_s and not self.talk.heard:
            try:
                return self.talk.ask("identify", tries=1, noisy_tries=INTRODUCTION_TRIES)
            except BoxSilent:
                continue
        return None

    def _read_from_oldest(self, *, begin: bool) -> None:
        status = status_from(self.talk.ask("status"))
        if begin:
            self.talk.begin_events(status.last_event - status.unread + 1)
        if status.unread:
            self.talk.ask("resend")

    def _stranger(self, spoke: bool) -> str:
        if spoke:
            return (
                f"What answers on {self.port.name} is not a box of ours, or no line of it comes through whole: if it "
                "is the box, try another cable or USB socket; else choose another port ('coincide box list'), or put "
                "the firmware on it with 'coincide box install'."
            )
        return (
            f"Nothing answers on {self.port.name}: check that it is the box's port ('coincide box list') and that "
            "the box has power and its firmware ('coincide box install')."
        )

    def _check_version(self, reply: dict[str, Any]) -> None:
        protocol, firmware = reply.get("protocol"), reply.get("firmware")
        if reply.get("name") != "coincide box":
            raise BoxFailed(self._stranger(True))
        if self._any_version:
            return
        if protocol != PROTOCOL or firmware != FIRMWARE_VERSION:
            raise BoxFailed(
                f"The box on {self.port.name} has firmware {firmware!s:.20} (protocol {protocol!s:.20}); this version "
                f"needs {FIRMWARE_VERSION} (protocol {PROTOCOL}): run 'coincide box install'."
            )
