"""One virtual clock for everything in a simulated world: time stands still until somebody waits."""

from __future__ import annotations

import heapq
from collections.abc import Callable

TICK_HZ = 125_000_000


def ticks_from_s(seconds: float) -> int:
    """Seconds to the nearest whole tick."""
    return round(seconds * TICK_HZ)


def s_from_ticks(ticks: int) -> float:
    """Ticks to seconds."""
    return ticks / TICK_HZ


class Clock:
    """Integer ticks and a heap of things that will happen. Equal ticks keep the order of planning."""

    def __init__(self) -> None:
        self.now = 0
        self._heap: list[tuple[int, int, Callable[[], None]]] = []
        self._planned = 0

    def at(self, tick: int, happen: Callable[[], None]) -> None:
        """Plan `happen` for a tick; one that has passed means now."""
        self._planned += 1
        heapq.heappush(self._heap, (max(tick, self.now), self._planned, happen))

    def after_s(self, seconds: float, happen: Callable[[], None]) -> None:
        """Plan `happen` for so many seconds from now."""
        self.at(self.now + ticks_from_s(seconds), happen)

    def next_tick(self) -> int | None:
        """When the next planned thing is due, or None."""
        return self._heap[0][0] if self._heap else None

    def advance(self, tick: int) -> None:
        """Let everything due up to and including `tick` happen, then stand at `tick`."""
        heap = self._heap
        while heap and heap[0][0] <= tick:
            due, _, happen = heapq.heappop(heap)
            self.now = due
            happen()
        self.now = max(self.now, tick)
