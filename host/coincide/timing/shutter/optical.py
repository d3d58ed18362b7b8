"""The optical route: both bodies photograph a row of lamps, one lit after another at a known step.

Lamp i (from 0) is lit from i to i + 1 steps after the row starts, over and over. A frame exposed from o to c shows
lamps first = floor(o / step) to last = floor(c / step), so the first lamp seen puts the opening into one step, the last
one the closing: each is uniform over its step, standard uncertainty step / sqrt 12 (GUM 4.3.7), the middle step /
sqrt 24, the exposure step / sqrt 6. Lamps at the ends look fainter, as they were lit for a part of their step only. A
lamp's image has its own place in the frame: with a focal plane shutter the row should run along the curtain's edge, so
that all lamps share one sweep position. Several frames together: lamps/series.py.
"""

from __future__ import annotations

from dataclasses import dataclass

from coincide.errors import BadInput


@dataclass(frozen=True, slots=True)
class LampRow:
    """The row as it ran: `lamps` of them, `step_s` each, round after round (`lamps * step_s` a round)."""

    lamps: int
    step_s: float

    @property
    def round_s(self) -> float:
        return self.lamps * self.step_s


def frame_edges_s(row: LampRow, first: int, last: int, body: str) -> tuple[float, float]:
    """Middles of the steps in which a frame opened and closed, seconds after the row's start.

    first, last: lamps counted from 1 as people do; a row that came round has its first lamp behind its last. `body` is
    for the sentence. Raises BadInput for a lamp that is not there.
    """
    for name, lamp in (("first", first), ("last", last)):
        if not 1 <= lamp <= row.lamps:
            raise BadInput(
                f"The {name} lamp of body {body}'s frame is {lamp}, but the row has lamps 1 to {row.lamps}: "
                "count again from the end that lights first."
            )
    opened = first - 1
    closed = opened + (last - first) % row.lamps
    return (opened + 0.5) * row.step_s, (closed + 0.5) * row.step_s
