"""The lamp row of the optical route, as it was lit."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LampRun:
    """One run: lamp 0 lit at `start_s` on the world's clock, each for `step_s`, the row run through `rows` times."""

    start_s: float
    step_s: float
    lamps: int
    rows: int

    def seen(self, open_s: float, close_s: float) -> tuple[int, int] | None:
        """Lamps lit at the beginning and the end of an exposure, or None when it was outside the run."""
        first = self._lit(open_s)
        last = self._lit(close_s)
        return None if first is None or last is None else (first, last)

    def _lit(self, t_s: float) -> int | None:
        step = int((t_s - self.start_s) // self.step_s)
        return step % self.lamps if 0 <= step < self.lamps * self.rows else None
