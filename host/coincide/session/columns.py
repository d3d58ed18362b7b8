"""Lines into columns: many lines a step into arrays, one by one only where something is wrong."""

from __future__ import annotations

from operator import itemgetter
from typing import Any

import numpy as np
import numpy.typing as npt
import orjson

from coincide.session.lines import PLAN_KEYS, remark_from
from coincide.session.model import OPEN_GROUP, EdgeTable, Header, Ints, Remark, Session

_PLAN = itemgetter(*PLAN_KEYS)
_NO_PLAN = (-1,) * len(PLAN_KEYS)
_INT64_MOST = 2**63 - 1

Flags = npt.NDArray[np.bool_]


class Columns:
    """Collects the lines after the header; `session()` joins what was collected."""

    def __init__(self, header: Header) -> None:
        self._header = header
        self._codes_end = 2 * len(header.channels)
        self._pairs: list[Ints] = []  # (n, 9): shot, lost, start, edges, plan
        self._edges: list[Ints] = []  # (m, 2): code, ticks since start
        self._remarks: list[Remark] = []
        self._open: list[Remark] = []  # of groups that had not ended
        self._torn: int | None = None

    def take(self, lines: list[bytes], number: int, *, last: bool) -> None:
        """Lines from file line `number` on; `last`: the final one had no newline and may be torn."""
        try:
            found = [orjson.loads(line) for line in lines]
            shots = [line for line in found if "shot" in line]
            pairs, edges = self._arrays(shots)
        except (orjson.JSONDecodeError, KeyError, TypeError, ValueError, OverflowError):
            self._take_singly(lines, number, last=last)
            return
        self._pairs.append(pairs)
        self._edges.append(edges)
        if len(shots) == len(found):
            self._open.clear()
            return
        for offset, line in enumerate(found):
            if "shot" in line:
                self._open.clear()
            else:
                self._take_other(line, number + offset)

    def _arrays(self, shots: list[dict[str, Any]]) -> tuple[Ints, Ints]:
        """Arrays of whole, plausible lines. Raises KeyError, TypeError or ValueError on any other."""
        flat: list[int] = []
        pairs: list[int] = []
        for shot in shots:
            edges, plan = shot["edges"], shot["plan"]
            pairs += (shot["shot"], shot["lost"], shot["start"], len(edges))
            pairs += _NO_PLAN if plan is None else _PLAN(plan)
            flat += edges
        pair_array, edge_array = np.asarray(pairs or [0]), np.asarray(flat or [0])
        if pair_array.dtype.kind != "i" or edge_array.dtype.kind != "i":
            raise ValueError("not whole numbers")
        if pair_array.ndim != 1 or edge_array.ndim != 1:
            raise ValueError("lists where numbers belong")
        table = pair_array[: len(pairs)].reshape(-1, 4 + len(PLAN_KEYS)).astype(np.int64, copy=False)
        edge_table = edge_array[: len(flat)].reshape(-1, 2).astype(np.int64, copy=False)
        if np.any(table[:, 3] % 2) or np.any(table[:, :3] < 0) or np.any(table[:, 4:] < -1):
            raise ValueError("out of range")
        codes, since = edge_table[:, 0], edge_table[:, 1]
        if np.any(codes < 0) or np.any(codes >= self._codes_end) or np.any(np.abs(since) > _INT64_MOST // 4):
            raise ValueError("out of range")
        if np.any(table[:, 2] > _INT64_MOST // 4):
            raise ValueError("out of range")
        return table, edge_table

    def _take_singly(self, lines: list[bytes], number: int, *, last: bool) -> None:
        for offset, line in enumerate(lines):
            if not line.strip():
                continue
            try:
                found = orjson.loads(line)
            except orjson.JSONDecodeError:
                if last and offset == len(lines) - 1:
                    self._torn = number + offset
                else:
                    self._damaged(number + offset, "could not be read")
                continue
            if isinstance(found, dict) and "shot" in found:
                try:
                    pairs, edges = self._arrays([found])
                except (KeyError, TypeError, ValueError, OverflowError):
                    self._damaged(number + offset, "is no whole record of a pair")
                else:
                    self._pairs.append(pairs)
                    self._edges.append(edges)
                    self._open.clear()
            else:
                self._take_other(found, number + offset)

    def _take_other(self, line: object, number: int) -> None:
        if isinstance(line, dict) and "remark" in line:
            remark = remark_from(line)
            (self._open if remark.kind == OPEN_GROUP else self._remarks).append(remark)
        else:
            self._damaged(number, "is of no kind known here")

    def _damaged(self, number: int, what: str) -> None:
        say = f"Line {number} {what} and was skipped."
        self._remarks.append(Remark("", "damaged line", say, {"line": number}))

    def session(self) -> Session:
        """Everything taken so far, pairs in the order of the file."""
        self._tell_of_an_open_group()
        pairs = np.concatenate([np.zeros((0, 4 + len(PLAN_KEYS)), np.int64), *self._pairs])
        edges = np.concatenate([np.zeros((0, 2), np.int64), *self._edges])
        self._pairs, self._edges = [], []
        per_row = pairs[:, 3] // 2
        row = np.repeat(np.arange(len(pairs)), per_row)
        tick = edges[:, 1] + np.repeat(pairs[:, 2], per_row)
        table = EdgeTable(row, edges[:, 0] >> 1, edges[:, 0] & 1, tick)
        table = self._in_order(table)
        keep = self._without_repeats(pairs[:, 0], per_row, table)
        if not keep.all():
            pairs = pairs[keep]
            stays = keep[table.row]
            new_row = np.cumsum(keep) - 1
            table = EdgeTable(
                new_row[table.row[stays]], table.channel[stays], table.level[stays], table.tick[stays]
            )
        return Session(
            header=self._header,
            shot=pairs[:, 0].copy(),
            lost=pairs[:, 1].copy(),
            plan_ns=pairs[:, 4:].copy(),
            edges=table,
            remarks=tuple(self._remarks),
            torn=self._torn,
        )

    def _tell_of_an_open_group(self) -> None:
        """Of a group that never ended, one remark; of one that did, its record holds all."""
        if not self._open:
            return
        columns: dict[str, list[Any]] = {"channel": [], "level": [], "tick": []}
        for remark in self._open:
            for name, column in columns.items():
                part = remark.detail.get(name)
                column.extend(part if isinstance(part, list) else [])
        say = f"The run broke off inside a group: {len(columns['tick'])} edges of it are kept, and it is not counted."
        self._remarks.append(Remark(self._open[-1].at, "left over", say, {"number": 0, **columns}))
        self._open.clear()

    def _in_order(self, table: EdgeTable) -> EdgeTable:
        backwards = (np.diff(table.tick) < 0) & (np.diff(table.row) == 0)
        if not backwards.any():
            return table
        rows = np.unique(table.row[1:][backwards])
        say = f"The edges of {len(rows)} pairs were not in order of time and were put in order."
        self._remarks.append(Remark("", "edges out of order", say, {"rows": rows.tolist()}))
        order = np.lexsort((table.tick, table.row))
        return EdgeTable(*(column[order] for column in (table.row, table.channel, table.level, table.tick)))

    def _without_repeats(self, shot: Ints, per_row: Ints, table: EdgeTable) -> Flags:
        """False for the exact repeat of a pair: a box sends again what was not acknowledged."""
        keep = np.ones(len(shot), bool)
        numbers, counts = np.unique(shot, return_counts=True)
        twice = np.isin(shot, numbers[counts > 1])
        if not twice.any():
            return keep
        first_edge = np.cumsum(per_row) - per_row
        seen: set[tuple[object, ...]] = set()
        differing: set[int] = set()
        numbers_seen: set[int] = set()
        for row in np.flatnonzero(twice):
            part = slice(first_edge[row], first_edge[row] + per_row[row])
            key = (int(shot[row]), *(c[part].tobytes() for c in (table.channel, table.level, table.tick)))
            if key in seen:
                keep[row] = False
            elif int(shot[row]) in numbers_seen:
                differing.add(int(shot[row]))
            seen.add(key)
            numbers_seen.add(int(shot[row]))
        if not keep.all():
            say = f"{int((~keep).sum())} pairs were in the file twice, edge for edge; each is counted once."
            self._remarks.append(Remark("", "repeats", say, {"shots": shot[~keep].tolist()}))
        if differing:
            say = f"{len(differing)} numbers of pairs were used more than once; every pair is counted."
            self._remarks.append(Remark("", "numbers used twice", say, {"shots": sorted(differing)}))
        return keep
