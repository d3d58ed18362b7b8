"""What a turn of a plunger's adjusting screw does to the skew, learned from two settings of it."""

from __future__ import annotations

from dataclasses import dataclass

from coincide.errors import BadInput
from coincide.timing.bodies.compare import Comparison


@dataclass(frozen=True, slots=True)
class Turning:
    """per_turn_s: how far a whole turn the same way moves the skew, with its 95 % interval. more_turns: how
    much further to turn, the same way when positive, until the skew is centred; at 95 % from fewest_turns to
    most_turns."""

    per_turn_s: float
    per_turn_interval_s: tuple[float, float]
    more_turns: float
    fewest_turns: float
    most_turns: float


def turning(moved: Comparison, turned: float, left_s: float) -> Turning:
    """`moved`: skew after the turn against before it; `turned`: turns made; `left_s`: centre of the skew now.

    The screw is taken to act evenly over the few turns in question. Raises BadInput when nothing was turned or
    when the turn moved the skew by less than can be told from its scatter.
    """
    if turned <= 0:
        raise BadInput("Say how far the screw was turned, in turns more than zero, such as 0.5.")
    if not moved.shifted:
        raise BadInput(
            "The turn moved the skew by less than can be told from its scatter: turn further, or watch more pairs."
        )
    per_turn_s = moved.shift_s / turned
    low_s, high_s = (edge / turned for edge in moved.shift_interval_s)
    ends = sorted((-left_s / low_s, -left_s / high_s))
    return Turning(per_turn_s, (low_s, high_s), -left_s / per_turn_s, ends[0], ends[1])
