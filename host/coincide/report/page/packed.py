"""Every edge of a long session, small enough to lie in the page: whole steps of time, like bytes together, deflated.

The page unpacks it when a pair is asked for that is not in its table (page.js, `unpack`), and fetches nothing. Numbers
are unsigned 32 bit, byte by byte in planes (all lowest bytes first); signed ones alternate, 0 -1 1 -2 2. In order:
numbers of the pairs as differences, edges of each pair, channel and level of each edge (2 channel + level), times as
differences within the pair, mid-exposures of A and of B (0 where unknown, else one more). Edges stand by their place in
the pair: all first ones, then all second ones, as like follows like there.
"""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    from coincide.timing.analysis import Measured

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

STEPS_S = (1e-7, 1e-6, 1e-5)  # the finest that stays below MOST_BYTES is taken
MOST_BYTES = 3_400_000


@dataclass(frozen=True, slots=True)
class Packed:
    """data: base64 of the deflated bytes; step_s: what times are whole multiples of."""

    pairs: int
    edges: int
    step_s: float
    data: str


def pack_measured(measured: Measured) -> Packed | None:
    """Of every pair of a session, each from its first full-press, else from its first edge."""
    session = measured.session
    table, pairs = session.edges, measured.shots.number.size
    full = [i for i, name in enumerate(session.header.channels) if name.startswith("full")]
    pressed = np.isin(table.channel, full) & (table.level == 1)
    unseen = np.iinfo(np.int64).max
    zero, first = np.full(pairs, unseen), np.full(pairs, unseen)
    np.minimum.at(zero, table.row[pressed], table.tick[pressed])
    np.minimum.at(first, table.row, table.tick)
    zero = np.where(zero == unseen, first, zero)
    return pack_edges(
        measured.shots.number,
        table.row,
        table.channel,
        table.level,
        (table.tick - zero[table.row]) / session.header.tick_hz,
        measured.mids.mid_s,
    )


def pack_edges(
    number: Ints, row: Ints, channel: Ints, level: Ints, time_s: Floats, mid_s: Floats
) -> Packed | None:
    """number (n,) of the pairs; row (into number, rising), channel, level, time_s (m,) of the edges, each from its
    pair's start; mid_s (n, 2), NaN where unknown. None where not even the coarsest step stays below MOST_BYTES."""
    count = np.bincount(row, minlength=number.size)
    place = np.arange(row.size) - np.repeat(np.cumsum(count) - count, count)
    order = np.lexsort((row, place))
    for step_s in STEPS_S:
        at = np.round(time_s / step_s).astype(np.int64)
        gap = np.where(place == 0, at, np.diff(at, prepend=0))
        mid = np.where(np.isfinite(mid_s), 1 + _alternating(_whole(mid_s, step_s)), 0)
        raw = b"".join(
            (
                _planes(_alternating(np.diff(number, prepend=0))),
                _planes(count),
                (2 * channel + level)[order].astype(np.uint8).tobytes(),
                _planes(_alternating(gap[order])),
                _planes(mid[:, 0]),
                _planes(mid[:, 1]),
            )
        )
        data = base64.b64encode(zlib.compress(raw, 6)).decode("ascii")
        if len(data) <= MOST_BYTES:
            return Packed(number.size, row.size, step_s, data)
    return None


def _whole(value_s: Floats, step_s: float) -> Ints:
    return np.round(np.nan_to_num(value_s) / step_s).astype(np.int64)


def _alternating(value: Ints) -> Ints:
    return np.asarray(np.where(value < 0, -2 * value - 1, 2 * value), dtype=np.int64)


def _planes(value: Ints) -> bytes:
    """All lowest bytes, then all second ones, and so on."""
    return value.astype("<u4").view(np.uint8).reshape(-1, 4).T.tobytes()
