"""Raw edges into pairs: which closing of the sync contact, which light at the gate was the exposure."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from coincide.session.model import BODIES, EdgeTable, Floats, Ints, Session, Shots
from coincide.session.rules import EdgeRules

Flags = npt.NDArray[np.bool_]
BOTH_BY_DEFAULT = (EdgeRules(), EdgeRules())


def shots_from_session(session: Session, rules: tuple[EdgeRules, EdgeRules] = BOTH_BY_DEFAULT) -> Shots:
    """Make the edges of a session into pairs, n rows in the order of the file.

    rules: of A and B. A channel the session does not have gives NaN and zero counts throughout.
    """
    rows = len(session.shot)
    names = session.header.channels
    to_s = 1.0 / session.header.tick_hz
    by_channel = _ByChannel(session.edges, len(names))
    of_name = {name: by_channel.of(index) for index, name in enumerate(names)}
    nothing = by_channel.of(-1)

    full_tick = np.full((rows, 2), -1, np.int64)
    for body, letter in enumerate("ab"):
        edges = of_name.get(f"full_{letter}", nothing)
        row, tick = _first_closings(edges)
        full_tick[row, body] = tick
    start_tick = _start_ticks(session.edges, full_tick)
    start_s = (start_tick - start_tick[0]) * to_s if rows else np.zeros(0)

    sync_s, sync_open_s = np.full((rows, 2), np.nan), np.full((rows, 2), np.nan)
    bounces, flicks, extras = (np.zeros((rows, 2), np.int64) for _ in range(3))
    gate_open_s, gate_close_s = np.full((rows, 2, 2), np.nan), np.full((rows, 2, 2), np.nan)
    click_s = np.full((rows, 2), np.nan)
    full_s = np.where(full_tick >= 0, (full_tick - start_tick[:, None]) * to_s, np.nan)
    for body, letter in enumerate("ab"):
        rule = rules[body]
        gate_rule = replace(
            rule,
            bounce_s=0.0,
            rebound_s=rule.gate_chatter_s,
            shortest_closed_s=rule.gate_shortest_s,
            held_s=rule.gate_held_s,
        )
        clock = _Clock(start_tick, full_s[:, body], to_s)
        sync = _contacts(of_name.get(f"sync_{letter}", nothing), clock, rule)
        kind = sync.sorted_out(rule)
        taken = kind.accepted
        sync_s[sync.row[taken], body] = sync.closed_s[taken]
        sync_open_s[sync.row[taken], body] = sync.open_s[taken]
        bounces[sync.row[taken], body] = sync.closings[taken] - 1
        for count, which in ((flicks, kind.flick), (extras, kind.extra)):
            count[:, body] = np.bincount(sync.row[which], sync.closings[which], rows).astype(np.int64)
        for sensor in (0, 1):
            gate = _contacts(of_name.get(f"gate_{letter}{sensor + 1}", nothing), clock, gate_rule)
            taken = gate.sorted_out(gate_rule).accepted
            gate_open_s[gate.row[taken], body, sensor] = gate.closed_s[taken]
            gate_close_s[gate.row[taken], body, sensor] = gate.open_s[taken]

        clicks = of_name.get(f"click_{letter}", nothing)
        for closing in (True, False):
            kind_of = clicks.closing == closing
            found, first = np.unique(clicks.row[kind_of], return_index=True)
            at_s = (clicks.tick[kind_of][first] - start_tick[found]) * to_s
            click_s[found, body] = at_s if closing else 0.5 * (click_s[found, body] + at_s)

    delay_ns = session.plan_ns[:, : len(BODIES)]
    return Shots(
        number=session.shot,
        start_s=start_s,
        rest_s=np.concatenate([np.full(min(rows, 1), np.nan), np.diff(start_s)]),
        delay_s=np.where(delay_ns >= 0, delay_ns * 1e-9, 0.0),
        full_s=full_s,
        sync_s=sync_s,
        sync_open_s=sync_open_s,
        gate_open_s=gate_open_s,
        gate_close_s=gate_close_s,
        bounces=bounces,
        flicks=flicks,
        extras=extras,
        lost=session.lost,
        click_s=click_s,
    )


@dataclass(frozen=True, slots=True)
class _Edges:
    """Edges of one channel, by row and time, levels alternating within a row."""

    row: Ints
    closing: Flags
    tick: Ints


class _ByChannel:
    """The edge table sorted by channel once, so that each channel is a slice of it."""

    def __init__(self, edges: EdgeTable, channels: int) -> None:
        order = np.argsort(edges.channel.astype(np.int16), kind="stable")
        self._row, self._level, self._tick = edges.row[order], edges.level[order], edges.tick[order]
        self._bounds = np.searchsorted(edges.channel[order], np.arange(channels + 1))

    def of(self, channel: int) -> _Edges:
        """Edges of a channel; none for -1. A level told twice says nothing new: the first one counts."""
        part = slice(0, 0) if channel < 0 else slice(self._bounds[channel], self._bounds[channel + 1])
        row, closing, tick = self._row[part], self._level[part] == 1, self._tick[part]
        again = np.zeros(len(row), bool)
        again[1:] = (row[1:] == row[:-1]) & (closing[1:] == closing[:-1])
        if again.any():
            row, closing, tick = row[~again], closing[~again], tick[~again]
        return _Edges(row, closing, tick)


@dataclass(frozen=True, slots=True)
class _Clock:
    """Turns ticks of a row into seconds since its start, and seconds since the body's full-press."""

    start_tick: Ints
    full_s: Floats
    to_s: float


@dataclass(frozen=True, slots=True)
class _Sorted:
    accepted: Flags
    flick: Flags
    extra: Flags


@dataclass(frozen=True, slots=True)
class _Contacts:
    """Closings of a channel gathered into contacts, bounces and all; one element a contact.

    closed_s: first closing; open_s: last opening, NaN if it was not seen; since_full_s: from the full-press,
    NaN without one; longest_s: longest unbroken stretch; closings: how many.
    """

    row: Ints
    closed_s: Floats
    open_s: Floats
    since_full_s: Floats
    longest_s: Floats
    closings: Ints

    def sorted_out(self, rule: EdgeRules) -> _Sorted:
        """The first contact of each row that can be the exposure; the others are flicks or extra."""
        long_enough = self.longest_s >= rule.shortest_closed_s
        unpressed = np.isnan(self.since_full_s)
        early = ~unpressed & (self.since_full_s < rule.earliest_s)
        late = ~unpressed & (self.since_full_s > rule.latest_s)
        possible = long_enough & ~early & ~late
        shaken = possible & self._shaken(possible, rule.held_s)
        candidates = np.flatnonzero(possible & ~shaken)
        _, first = np.unique(self.row[candidates], return_index=True)
        accepted = np.zeros(len(self.row), bool)
        accepted[candidates[first]] = True
        flick = ~accepted & (early | ~long_enough | shaken)
        return _Sorted(accepted, flick, ~accepted & ~flick)

    def _shaken(self, possible: Flags, held_s: float) -> Flags:
        """Contacts too short for a full opening, with one long enough for it behind them in the same row."""
        if held_s <= 0.0 or not len(self.row):
            return np.zeros(len(self.row), bool)
        held = possible & (self.longest_s >= held_s) & np.isfinite(self.longest_s)
        place = np.arange(len(self.row))
        last_held = np.full(int(self.row.max()) + 1, -1)
        last_held[self.row[held]] = place[held]  # in order of time, so that the last one stays
        return np.asarray(~held & (place < last_held[self.row]) & np.isfinite(self.longest_s))


def _contacts(edges: _Edges, clock: _Clock, rule: EdgeRules) -> _Contacts:
    """Gather closings: those that bounced belong to the contact they bounced from."""
    at_s = (edges.tick - clock.start_tick[edges.row]).astype(np.float64) * clock.to_s
    closing = np.flatnonzero(edges.closing)
    if not len(closing):
        none = np.zeros(0)
        return _Contacts(np.zeros(0, np.int64), none, none, none, none, np.zeros(0, np.int64))
    row, closed_s = edges.row[closing], at_s[closing]
    since_full_s = closed_s - clock.full_s[row]
    # Levels alternate within a row, so the edge after a closing in the same row is its opening.
    after = np.minimum(closing + 1, len(at_s) - 1)
    opened = (closing + 1 < len(at_s)) & (edges.row[after] == row)
    open_s = np.where(opened, at_s[after], np.nan)
    length_s = np.where(opened, open_s - closed_s, np.inf)
    joined = np.zeros(len(closing), bool)
    rebounded = closed_s[1:] - open_s[:-1] <= rule.rebound_s
    closed_again = (np.diff(closed_s) <= rule.bounce_s) & (length_s[:-1] >= rule.shortest_closed_s)
    # What came before the window opened must not drag the true closing out of it.
    joined[1:] = (
        (row[1:] == row[:-1])
        & (rebounded | closed_again)
        & ((since_full_s[:-1] < rule.earliest_s) == (since_full_s[1:] < rule.earliest_s))
    )
    first = np.flatnonzero(~joined)
    last = np.append(first[1:], len(closing)) - 1
    return _Contacts(
        row=row[first],
        closed_s=closed_s[first],
        open_s=open_s[last],
        since_full_s=since_full_s[first],
        longest_s=np.maximum.reduceat(length_s, first),
        closings=last - first + 1,
    )


def _first_closings(edges: _Edges) -> tuple[Ints, Ints]:
    """Row and tick of the first closing in each row that has one."""
    row, tick = edges.row[edges.closing], edges.tick[edges.closing]
    rows, first = np.unique(row, return_index=True)
    return rows, tick[first]


def _start_ticks(edges: EdgeTable, full_tick: Ints) -> Ints:
    """Tick from which each row counts: the earlier full-press, else its first edge, else the row before's."""
    rows = len(full_tick)
    unseen = np.iinfo(np.int64).max
    start = np.where(full_tick >= 0, full_tick, unseen).min(axis=1, initial=unseen)
    first_row, first = np.unique(edges.row, return_index=True)
    first_edge = np.full(rows, unseen, np.int64)
    first_edge[first_row] = edges.tick[first]
    start = np.where(start == unseen, first_edge, start)
    if not np.any(start == unseen):
        return start
    # A row without a single edge has no time of its own; it takes that of the last row that had one.
    known = start != unseen
    if not known.any():
        return np.zeros(rows, np.int64)
    carried = np.maximum.accumulate(np.where(known, np.arange(rows), -1))
    return start[np.where(carried >= 0, carried, np.flatnonzero(known)[0])]
