"""The sampler: every change of the sampled lines, quantised, in a ring that can overflow."""

from __future__ import annotations

import heapq
from collections.abc import Callable

from coincide_firmware.app import pins

QUANTUM_TICKS = 2  # as the real sampler: three machines, one branch every six cycles, in phases of two


class Sampler:
    """Lines are driven by anything that closes them; a line is closed while anybody holds it closed."""

    def __init__(self, ring_edges: int) -> None:
        self._ring_edges = ring_edges
        self._coming: list[tuple[int, int, int, int]] = []
        self._planned = 0
        self._holders = [0] * len(pins.CHANNELS)
        self._origin = 0

    def drive(self, channel: int, tick: int, closes: bool) -> None:
        """Somebody closes or lets go of a line at a tick, now or in the future."""
        self._planned += 1
        heapq.heappush(self._coming, (tick, self._planned, channel, 1 if closes else -1))

    def restart(self, tick: int) -> None:
        """The board starts again: what happened until now is gone, ticks count from here."""
        for _ in self._changes(tick):
            pass
        self._origin = tick

    def read(self, now: int, sink: Callable[[int, int, int], object]) -> int:
        """Hand over the edges up to now, ticks since the restart; the number lost to a full ring comes back.

        A ring that is written round loses its oldest edges, as the chip's does.
        """
        if not self._coming or self._coming[0][0] > now:
            return 0
        edges = list(self._changes(now))
        lost = max(0, len(edges) - self._ring_edges)
        for channel, level, tick in edges[lost:]:
            sink(channel, level, tick - self._origin)
        return lost

    def _changes(self, now: int) -> list[tuple[int, int, int]]:
        coming, holders = self._coming, self._holders
        edges = []
        while coming and coming[0][0] <= now:
            tick, _, channel, holds = heapq.heappop(coming)
            before = holders[channel]
            holders[channel] = after = before + holds
            if (before > 0) != (after > 0):
                edges.append((channel, int(after > 0), tick - tick % QUANTUM_TICKS))
        return edges
