"""The lamp row of the optical route, as it was lit, and what a frame shows of it."""

from __future__ import annotations

from dataclasses import dataclass

FAINT = 0.05  # of what a lamp can shine into a frame: with less it is not seen there


@dataclass(frozen=True, slots=True)
class LampRun:
    """One run: lamp 0 lit at `start_s` on the world's clock, each for `step_s`, the row run through `rows` times."""

    start_s: float
    step_s: float
    lamps: int
    rows: int

    def on_film(self, open_s: float, close_s: float) -> tuple[int, int] | None:
        """First and last lamp that a person finds on the frame; None where there is none, or where all are lit and
        nobody can say which came first."""
        step = int((open_s - self.start_s) // self.step_s)
        past = int((close_s - self.start_s) // self.step_s)
        steps = [each for each in range(step, past + 1) if 0 <= each < self.lamps * self.rows]
        shone = [
            each
            for each in steps
            if min(close_s, self.start_s + (each + 1) * self.step_s)
            - max(open_s, self.start_s + each * self.step_s)
            >= FAINT * min(self.step_s, close_s - open_s)
        ]
        if not shone or len(shone) >= self.lamps:
            return None
        return shone[0] % self.lamps, shone[-1] % self.lamps
