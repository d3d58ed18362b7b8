"""Requests, replies and events over a line that may damage, lose or repeat any of them.

A request is sent again until its reply comes: every request of the protocol may be. Events are taken in
the order of their numbers, each once; where one is missing the box is asked to send again.
"""

from __future__ import annotations

from collections import deque
from typing import Any

from coincide.box.cable.answers import BoxRefused, Event
from coincide.box.cable.lost import BoxSilent
from coincide.box.cable.ports import Port
from coincide.box.cable.starting import HEARD_MOST
from coincide_firmware.app.wire import LineReader, Refused, encode

REPLY_S = 0.4
TRIES = 8
NOISY_TRIES = 80
SIGN_OF_LIFE_S = 1.0


class Conversation:
    """One host talking with one box. `slowdown` stretches every time-out, for emulated chips.

    Counters: `bad_lines` that did not arrive whole, `repeated` events that came again, `retries` of requests,
    `lines` read in all.
    """

    def __init__(self, port: Port, slowdown: float = 1.0) -> None:
        self.port = port
        self.slowdown = slowdown
        self.bad_lines = 0
        self.repeated = 0
        self.retries = 0
        self.lines = 0
        self.heard = b""  # the last bytes that came, whatever they are
        self.next_event: int | None = None
        self._reader = LineReader()
        # Replies to an earlier run that still lie in the line match no number of this one.
        self._number = int(port.now_s() * 1000)
        self._reply: dict[str, Any] | None = None
        self._unheard = False
        self._gap = False
        self._came = self._came_before = (
            0  # events, wanted or not: now, and when the box was last asked for lost ones
        )
        self._asked_s = port.now_s()
        self._events: deque[Event] = deque()

    @property
    def queued(self) -> int:
        """Events that have come and were not yet taken."""
        return len(self._events)

    def start_over(self) -> None:
        """After the port came back: half a line from before is no part of what comes now."""
        self._reader = LineReader()
        self._reply = None
        self._gap = False
        self.port.write(b"\n")

    def begin_events(self, first: int) -> None:
        """Events are wanted from this number on; what was queued before is dropped."""
        self.next_event = first
        self._events.clear()
        self._gap = False

    def ask(
        self,
        verb: str,
        fields: dict[str, Any] | None = None,
        *,
        tries: int = TRIES,
        noisy_tries: int = NOISY_TRIES,
        reply_s: float = REPLY_S,
    ) -> dict[str, Any]:
        """The `ok` part of the reply. Raises BoxRefused when the box says no, BoxSilent when it says nothing.

        It gives up after `tries` met with silence, or after `noisy_tries` in all: a line on which something still
        comes, damaged, is worth more patience.
        """
        self._number += 1
        line = encode({"id": self._number, "do": verb, **(fields or {})})
        silent = 0
        for attempt in range(noisy_tries):
            self.retries += attempt > 0
            self._reply = None
            self._unheard = False
            self._asked_s = self.port.now_s()
            lines = self.lines
            self.port.write(line)
            reply = self._await_reply(reply_s * self.slowdown)
            if reply is not None:
                return _ok_part(reply)
            silent += self.lines == lines
            if silent >= tries:
                break
        raise BoxSilent(
            f"The box on {self.port.name} does not answer any more: check the USB cable; if it stays silent, "
            "unplug it and plug it in again."
        )

    def event(self, timeout_s: float, *, sign_of_life_s: float = SIGN_OF_LIFE_S) -> Event | None:
        """The next event, or None after `timeout_s`.

        When nothing was asked for `sign_of_life_s` the box is asked for its status: an armed box must not think
        the host gone, and an event that was lost at the end of a burst shows only there.
        """
        deadline = self.port.now_s() + timeout_s
        while True:
            if self._gap:
                self.ask("resend")
                # What was out of order came before this reply; everything follows anew.
                self._gap = False
            if self._events:
                return self._events.popleft()
            now, ask_at = self.port.now_s(), self._asked_s + sign_of_life_s * self.slowdown
            if now >= ask_at:
                self.check_for_lost()
            elif now >= deadline:
                return None
            else:
                self._pump(min(deadline, ask_at) - now)

    def check_for_lost(self) -> dict[str, Any]:
        """Ask for the status, and for events again when the box holds some that never came. While they are still coming
        they are late, not lost: on a slow line, asking for all of them again would never let them through."""
        coming = self._came != self._came_before
        self._came_before = self._came
        status = self.ask("status")
        last = status.get("last_event", 0)
        expected = self.next_event
        if not coming and expected is not None and isinstance(last, int) and last >= expected:
            self._gap = True
        return status

    def _await_reply(self, timeout_s: float) -> dict[str, Any] | None:
        deadline = self.port.now_s() + timeout_s
        while self._reply is None and not self._unheard:
            left = deadline - self.port.now_s()
            if left <= 0:
                return None
            self._pump(left)
        return self._reply

    def _pump(self, timeout_s: float) -> None:
        """Take what the port has, waiting at most so long for it."""
        data = self.port.read(timeout_s)
        self.heard = (self.heard + data)[-HEARD_MOST:]
        for record in self._reader.feed(data):
            self.lines += 1
            if isinstance(record, Refused):
                self.bad_lines += 1
            elif "re" in record:
                self._take_reply(record)
            elif "ev" in record:
                self._take_event(record)

    def _take_reply(self, record: dict[str, Any]) -> None:
        if record["re"] == self._number:
            self._reply = record
        elif record["re"] is None:
            # The box got a damaged line: ours, as nothing else was asked.
            self._unheard = True

    def _take_event(self, record: dict[str, Any]) -> None:
        self._came += 1
        seq, expected = record["ev"], self.next_event
        if expected is None or not isinstance(seq, int):
            return
        if seq < expected:
            self.repeated += 1
        elif seq > expected:
            self._gap = True
        else:
            self.next_event = expected + 1
            self._events.append(Event(seq, str(record.get("is")), record))


def _ok_part(reply: dict[str, Any]) -> dict[str, Any]:
    ok = reply.get("ok")
    if isinstance(ok, dict):
        return ok
    more = {key: value for key, value in reply.items() if key not in ("re", "error", "say")}
    raise BoxRefused(str(reply.get("error")), reply.get("say"), more)
