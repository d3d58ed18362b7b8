"""Two sessions side by side: what moved lag, skew or jitter between them, with effect size and interval."""

from __future__ import annotations

import numpy as np

from coincide.errors import BadInput
from coincide.report.words.numbers import ms
from coincide.rig.model import Rig
from coincide.timing.analysis import Measured
from coincide.timing.bodies.compare import Comparison, compare_series
from coincide.timing.bodies.turns import turning
from coincide.timing.budget.placing import turned_holders


def comparisons(now: Measured, earlier: Measured) -> dict[str, Comparison]:
    """'lag_a', 'lag_b' and 'skew' (any offset that was on taken out), now against earlier; those that both have."""
    pairs = {
        "lag_a": (earlier.lag_s[:, 0], now.lag_s[:, 0]),
        "lag_b": (earlier.lag_s[:, 1], now.lag_s[:, 1]),
        "skew": (earlier.skew_s + earlier.offset_on_s, now.skew_s + now.offset_on_s),
    }
    found = {}
    for name, (before_s, after_s) in pairs.items():
        try:
            found[name] = compare_series(before_s, after_s)
        except BadInput:
            continue  # not measured in one of the two: nothing to say of it
    return found


def comparison_sentences(found: dict[str, Comparison], rig: Rig) -> list[str]:
    """A sentence on the centre and one on the spread, for each quantity."""
    names = {
        "lag_a": f"The lag of {rig.bodies.a.name} (A)",
        "lag_b": f"The lag of {rig.bodies.b.name} (B)",
        "skew": "The skew",
    }
    if not found:
        return ["The two sessions have too little in common to be compared."]
    said = [sentence for name, one in found.items() for sentence in _sentences(names[name], one)]
    moving = [names[name] for name, one in found.items() if one.in_order]
    if moving:
        said.append(
            f"{' and '.join(moving)} moved within a series too: neighbouring pairs are alike, and the intervals are "
            "those of the fewer pairs that they are worth."
        )
    return said


def turning_sentence(
    found: dict[str, Comparison], turned: float, now: Measured, names: tuple[str, str]
) -> str:
    """What a turn of the screw did, and how much further to turn. Raises BadInput as `turning` does."""
    if "skew" not in found:
        raise BadInput("The two sessions have too little in common to say what the turn did.")
    left_s = float(np.nanmedian(now.skew_s))
    one = turning(found["skew"], turned, left_s)
    later = names[1] if one.per_turn_s > 0 else names[0]
    half_s = (one.per_turn_interval_s[1] - one.per_turn_interval_s[0]) / 2
    way = "the same way" if one.more_turns > 0 else "back"
    low, high = sorted((abs(one.fewest_turns), abs(one.most_turns)))
    return (
        f"A turn moves the skew by {ms(abs(one.per_turn_s), half_s)}, {later} later. Turn {abs(one.more_turns):.2f} "
        f"turns {way} (95 %: {low:.2f} to {high:.2f}), and watch again."
    )


def turned_sentence(first: Measured, second: Measured) -> str:
    """What the placing of the gate sensors had done, and the skew without it. Raises BadInput as `turned_holders`
    does."""
    found = turned_holders(
        first.skew_s + first.offset_on_s,
        second.skew_s + second.offset_on_s,
    )
    half_s = max(found.half_width_s, 1e-6)
    return (
        f"With both holders turned round the mean of both ways is a skew of {ms(found.skew_s, half_s)} (give or take "
        f"{ms(half_s, half_s)}, 95 %), free of where the diodes sit in them; that had added "
        f"{ms(found.placing_s, half_s)}."
    )


def _sentences(what: str, one: Comparison) -> tuple[str, str]:
    low_s, high_s = one.shift_interval_s
    half_s = (high_s - low_s) / 2
    interval = f"95 %: {ms(low_s, half_s)} to {ms(high_s, half_s)}"
    if one.shifted:
        way = "later" if one.shift_s > 0 else "earlier"
        centre = (
            f"{what} is {ms(abs(one.shift_s), half_s)} {way} ({interval}; {abs(one.shift_in_jitters):.1f} times its "
            "jitter)."
        )
    else:
        centre = f"{what} did not move that can be shown ({interval})."
    low, high = one.scale_interval
    spread = f"{one.scale_ratio:.2f} times the former (95 %: {low:.2f} to {high:.2f})"
    changed = "Its jitter is" if one.spread_changed else "No change of its jitter can be shown:"
    return centre, f"{changed} {spread}."
