"""What a series shows of structure in time, in sentences: the skew of the pair, not one body's lag."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coincide.timing.finding import Finding
from coincide.timing.offset.structure import UNNAMED
from coincide.timing.offset.suggest import OffsetSuggestion

CODES = {
    "wanders": "wanders",
    "trend": "moves",
    "swings": "swings",
    "steps": "step",
    "alike": "alike",
    "unnamed": "order",
}
AGAIN = "Let both bodies come to rest, fire again at the pace you photograph at, and measure just before the picture."


def notice_in_time(found: OffsetSuggestion, number: npt.NDArray[np.int64]) -> tuple[Finding, ...]:
    """A finding where a structure in time is likelier than none. number (n,): of the series' pairs."""
    structure = found.structure
    if structure is None:
        return ()
    half_s = 0.5 * (found.interval_s[1] - found.interval_s[0])
    now = f"what it is now is known to \u00b1{half_s * 1e3:.2g} ms (95 %)"
    numbers = {"chance": structure.chance, "half_s": half_s}
    if structure.kind == "steps" and structure.shot is not None:
        shot = int(number[found.used[structure.shot]])
        way = "later" if structure.change_s > 0 else "earlier"
        say = f"The skew stepped by {abs(structure.change_s) * 1e3:.2g} ms {way} at shot {shot}; {now}."
        advice = "The offset is for the pairs after it. Find what changed there (a plug, a setting), and fire again."
        numbers |= {"shot": float(shot), "change_s": structure.change_s}
    elif structure.kind == UNNAMED:
        say = f"Pairs near in time are alike, in a way that none of the known movements explains: {now}."
        advice = f"Look at the plot of skew by shot. {AGAIN}"
    elif structure.kind == "alike":
        say = (
            "Neighbouring pairs are more alike than chance has it and tell as little as far fewer would; "
            f"the centre is known to \u00b1{half_s * 1e3:.2g} ms (95 %)."
        )
        advice = AGAIN
    else:
        did = {"wanders": "wanders", "trend": "moves steadily", "swings": "swings to and fro"}[structure.kind]
        say, advice = f"The skew {did} over the series: {now}.", AGAIN
    return (Finding(CODES[structure.kind], None, say, advice, numbers),)
