"""Events of the box into records: kept on disk first, acknowledged after, whatever came between."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

from coincide.box.cable.answers import Event
from coincide.box.cable.client import BoxClient
from coincide.box.plans import SessionSink
from coincide.errors import BoxFailed
from coincide.session.model import OPEN_GROUP, Plan, Remark, ShotRecord

Edge = tuple[int, int, int]
"""Channel, level, tick."""

EDGES_UNTOLD_MOST = (
    400  # of a group that goes on and on: then they are put on the disk, and the box may forget them
)
EDGES_KEPT_MOST = 100_000  # of one pair or group; a contact that chatters for hours must not fill the memory

LARGEST = 2**59  # of ticks and counts: a hundred years of any box, and room for more in a session file
SENSELESS_EDGES = "The box sent edges that make no sense: 'coincide box install' puts them right."

# A rest long enough to count as one in every analysis of first shots.
ASSUMED_REST_S = 300.0
RESTARTED_BETWEEN = (
    "The box was restarted between two runs into this file: the time between them is not known, and "
    "five minutes are assumed."
)

CHATTER = (
    f"More than {EDGES_UNTOLD_MOST} edges came without a rest between: a contact chatters, or the quiet that ends a "
    "pair is set too long."
)

SENTENCES_MOST = 1000  # in an outcome; the file has them all


def now_text() -> str:
    """The wall clock as files write it. Only for people: nothing is computed from it."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


class Collector:
    """Takes events one by one. `on_shot` and `on_note` are told after a record or remark is on disk.

    gap_s: the rest that ends a group of a watch. Ticks are made to go on after a restart of the box (`restarted`):
    what was before stays before.
    """

    def __init__(
        self,
        client: BoxClient,
        sink: SessionSink,
        on_shot: Callable[[ShotRecord], None],
        on_note: Callable[[str], None],
        gap_s: float = math.inf,
    ) -> None:
        self.sentences: list[str] = []
        self.interlock_opened = False
        self.wound = False
        self._client = client
        self._sink = sink
        self._on_shot = on_shot
        self._on_note = on_note
        self._edges: list[Edge] = []
        self._safe = 0  # so many of them are on the disk already
        self._crowded_out = 0
        self._dropped = 0  # messages the box had no room for since the last pair
        self._base = 0
        self._last_tick = sink.last_tick
        self._last_s: float | None = None
        self._restarted = False
        self._told_of_chatter = False
        self._gap_ticks = gap_s * client.identity.tick_hz

    def note(self, kind: str, say: str, detail: dict[str, Any] | None = None) -> None:
        """A remark into the file, and the sentence to the person."""
        self._sink.remark(Remark(now_text(), kind, say, detail or {}))
        if len(self.sentences) < SENTENCES_MOST:
            self.sentences.append(say)
        self._on_note(say)

    def restarted(self) -> None:
        """The box began anew: what it had not sent is gone and its ticks start from zero."""
        self._forget_edges()
        self._restarted = True
        self.wound = False

    def take(self, event: Event) -> Event | None:
        """Deal with what every run deals with alike; a `shot` or `group` comes back for the caller, who calls
        `keep` or `set_aside` and by that acknowledges it."""
        fields = event.fields
        if event.kind == "edges":
            self._take_edges(fields)
            if len(self._edges) + self._crowded_out - self._safe > EDGES_UNTOLD_MOST:
                self._put_aside_for_now(event)
            return None
        if event.kind in ("shot", "group"):
            return event
        if event.kind == "wound":
            self.wound = True
        elif event.kind == "fault":
            code = str(fields.get("code"))
            self.interlock_opened |= code == "interlock"
            self.note("fault", str(fields.get("say")), {"code": code})
        elif event.kind == "overrun":
            lost = whole(fields, "lost")
            self.note(
                "overrun", f"The box missed {lost} edges: it was too busy; the pair says so.", {"lost": lost}
            )
        elif event.kind == "dropped":
            count = whole(fields, "count")
            self._dropped += count
            self.note(
                "dropped", f"The box had no room for {count} messages and dropped them.", {"count": count}
            )
        if not self._edges:
            self._client.ack(event.seq)
        return None

    def keep(self, event: Event, shot: int, plan: Plan | None) -> ShotRecord:
        """A complete pair or group: on disk, then acknowledged, then told."""
        stray = whole(event.fields, "stray") if "stray" in event.fields else 0
        thinned = whole(event.fields, "thinned") if "thinned" in event.fields else 0
        record = self._record(event, shot, plan)
        self._sink.append(record)
        self._done(event)
        aborted = event.fields.get("aborted")
        if stray:
            say = f"{stray} edges came before pair {shot}, outside any pair: a contact that moves while winding?"
            self._sink.remark(Remark(now_text(), "stray", say, {"shot": shot, "stray": stray}))
        if thinned:
            say = (
                f"Pair {shot}: a contact chattered; the box kept its first edges and those that begin and end a "
                f"burst, and left {thinned} out."
            )
            self.note("thinned", say, {"shot": shot, "thinned": thinned})
        if aborted:
            self.note(
                "aborted", f"Pair {shot} was cut short: {aborted}.", {"shot": shot, "why": str(aborted)}
            )
        self._on_shot(record)
        return record

    def set_aside(self, event: Event, say: str) -> None:
        """A pair or group that is not this session's: its edges go into a remark."""
        record = self._record(event, 0, None)
        detail = {
            "number": whole(event.fields, event.kind),
            "channel": list(record.channel),
            "level": list(record.level),
            "tick": list(record.tick),
        }
        self.note("left over", say, detail)
        self._done(event)

    def skip(self, event: Event) -> None:
        """A pair that is in the file already: acknowledge it once more."""
        self._done(event)

    def _done(self, event: Event) -> None:
        self._forget_edges()
        self._dropped = 0
        self._client.ack(event.seq)

    def _forget_edges(self) -> None:
        self._edges = []
        self._safe = 0
        self._crowded_out = 0

    def _put_aside_for_now(self, event: Event) -> None:
        """The edges so far of a group that has not ended: on the disk, so that the box need not hold them all."""
        if not self._told_of_chatter:
            self._told_of_chatter = True
            self.note("chatter", CHATTER)
        fresh = self._edges[self._safe :]
        self._safe = len(self._edges) + self._crowded_out
        if fresh:
            self._place_in_time(self._edges[0][2])
            say = "Edges of a group that had not ended: kept here until it had."
            self._sink.remark(Remark(now_text(), OPEN_GROUP, say, self._columns(fresh)))
        self._client.ack(event.seq)

    def _columns(self, edges: list[Edge]) -> dict[str, list[int]]:
        return {
            "channel": [channel for channel, _, _ in edges],
            "level": [level for _, level, _ in edges],
            "tick": [tick + self._base for _, _, tick in edges],
        }

    def _take_edges(self, fields: dict[str, Any]) -> None:
        codes, tick = fields.get("e"), whole(fields, "base")
        codes_end = 2 * len(self._client.identity.channels)
        if not isinstance(codes, list) or len(codes) % 2 or not all(type(item) is int for item in codes):
            raise BoxFailed(SENSELESS_EDGES)
        for code, delta in zip(codes[::2], codes[1::2], strict=True):
            tick += delta
            if not (0 <= code < codes_end and 0 <= tick <= LARGEST):
                raise BoxFailed(SENSELESS_EDGES)
            if len(self._edges) >= EDGES_KEPT_MOST:
                self._crowded_out += 1
            else:
                self._edges.append((code // 2, code % 2, tick))

    def _record(self, event: Event, shot: int, plan: Plan | None) -> ShotRecord:
        counted = whole(event.fields, "edges")
        if self._dropped and (earlier := self._of_earlier_groups()):
            self._set_apart(earlier)
        edges = self._edges
        if edges:
            self._place_in_time(edges[0][2])
        # What the box counted and could not send is lost too.
        unsent = counted - len(edges) - self._crowded_out
        lost = max(whole(event.fields, "lost"), unsent, self._dropped) + self._crowded_out
        return ShotRecord(
            shot=shot,
            at=now_text(),
            plan=plan,
            channel=tuple(channel for channel, _, _ in edges),
            level=tuple(level for _, level, _ in edges),
            tick=tuple(tick + self._base for _, _, tick in edges),
            lost=lost,
        )

    def _of_earlier_groups(self) -> int:
        """How many of the edges held came before the last rest that ends a group: the box had no room to say so."""
        ticks = [tick for _, _, tick in self._edges]
        rests = [after for after, (one, two) in enumerate(pairwise(ticks), 1) if two - one > self._gap_ticks]
        return rests[-1] if rests else 0

    def _set_apart(self, count: int) -> None:
        """The first edges held are of a pair or group whose end the box had no room to tell: no part of this one."""
        self._place_in_time(self._edges[0][2])
        say = f"{count} edges came before, of a pair or group whose end the box had no room to tell."
        self.note("left over", say, {"number": 0} | self._columns(self._edges[:count]))
        self._edges = self._edges[count:]

    def _place_in_time(self, first_tick: int) -> None:
        """After a restart, put the box's ticks where the host's clock says they belong."""
        now_s = self._client.port.now_s()
        if self._restarted and self._last_s is not None:
            self._base = self._last_tick + self._ticks(now_s - self._last_s) - first_tick
        elif self._last_s is None and first_tick <= self._last_tick:
            # The box was restarted between two runs into one file; how long ago, nobody measured.
            self._base = self._last_tick + self._ticks(ASSUMED_REST_S) - first_tick
            self._sink.remark(
                Remark(now_text(), "box restarted", RESTARTED_BETWEEN, {"assumed_s": ASSUMED_REST_S})
            )
        self._restarted = False
        self._last_tick, self._last_s = first_tick + self._base, now_s

    def _ticks(self, seconds: float) -> int:
        return round(seconds * self._client.identity.tick_hz)


def whole(fields: dict[str, Any], name: str) -> int:
    """A count, a number or a tick of an event. Raises BoxFailed for what can be none."""
    value = fields.get(name)
    if type(value) is not int or not 0 <= value <= LARGEST:
        raise BoxFailed(
            f"A message of the box lacks '{name}': install the matching firmware with 'coincide box install'."
        )
    return value
