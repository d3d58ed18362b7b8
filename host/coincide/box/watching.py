"""A watch: listening without firing, group by group."""

from __future__ import annotations

from collections.abc import Callable

from coincide.box.cable.client import BoxClient
from coincide.box.cable.drain import DRAIN_PATIENCE_S, LISTEN_S, drain
from coincide.box.cable.lost import PortLost
from coincide.box.collect import Collector
from coincide.box.plans import Ending, SessionSink, WatchOutcome
from coincide.session.model import ShotRecord

AT_ONCE_S = 20.0  # as long what an earlier run left may take to come, for one who waits for quiet


class Watching:
    """One run of a watch; see `conduct.watch`."""

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
        self._collector = Collector(client, writer, on_group, on_note, gap_s)
        self._gap_ns = round(gap_s * 1e9)
        self._stop = stop
        self._kept = 0
        self._heard_s = client.port.now_s()

    def run(self, groups: int | None, quiet_s: float | None, patience_s: float) -> WatchOutcome:
        """Listen until `groups` have come, or `quiet_s` pass without one, or a stop is wished for."""
        ending: Ending = "complete"
        try:
            self._begin(DRAIN_PATIENCE_S if quiet_s is None else max(quiet_s, AT_ONCE_S))
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

    def _begin(self, patience_s: float) -> None:
        """Set aside what an earlier run left, then listen."""
        self._client.read_again()
        drain(self._client, self._set_aside, patience_s)
        self._client.disarm()
        self._client.watch(True, self._gap_ns)

    def _set_aside(self) -> None:
        event = self._client.event(LISTEN_S)
        event = None if event is None else self._collector.take(event)
        if event is not None:
            self._collector.set_aside(
                event, "The box still held a pair or group of an earlier run; its edges are kept in a remark."
            )

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
        drain(self._client, self._listen)
