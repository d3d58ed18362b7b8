"""How fast the lamp row should run for a rig: long enough for its exposures, as fine as that allows."""

from __future__ import annotations

from coincide.errors import BadInput
from coincide.rig.model import Rig

STEPS_S = (0.0005, 0.001, 0.002, 0.005, 0.010)  # finer than the jitter of most bodies helps nobody
ROOM = 1.3  # a round over the longest exposure: the lamps between last and first must stay dark
SLOWER = 10.0  # the slow row over the fast one: it only tells which round it was


def lamp_steps_s(rig: Rig, lamps: int, asked_s: float | None = None) -> tuple[float, float]:
    """Steps of the slow and the fast row. Raises BadInput where an exposure lasts a whole round."""
    longest_s = max(body.shutter.exposure.nominal_s for body in rig.both)
    if asked_s is None:
        for step_s in STEPS_S:
            if step_s * lamps >= ROOM * longest_s:
                return SLOWER * step_s, step_s
        raise BadInput(
            f"An exposure of {longest_s * 1e3:.0f} ms lights every lamp of the row: set a shorter time on the body."
        )
    if asked_s * lamps < ROOM * longest_s:
        raise BadInput(
            f"With {asked_s * 1e3:g} ms a lamp the row comes round in {lamps * asked_s * 1e3:g} ms, too soon for an "
            f"exposure of {longest_s * 1e3:.0f} ms: every lamp would be lit. Take "
            f"{ROOM * longest_s / lamps * 1e3:.1f} ms or more."
        )
    return min(SLOWER * asked_s, 0.1), asked_s
