"""What a series shows of structure in time, in sentences: the skew of the pair, not one body's lag."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from coincide.timing.finding import Finding
from coincide.timing.offset.structure import UNNAMED, Structure
from coincide.timing.offset.suggest import OffsetSuggestion

CODES = {
    "wanders": "wanders",
    "trend": "moves",
    "swings": "swings",
    "steps": "step",
    "alike": "alike",
    "unnamed": "order",
}
ALARM = 0.01
LEAST_GROWING = 15
NORMAL_QUARTILE = float(special.ndtri(0.75))
AGAIN = "Let both bodies come to rest, fire again at the pace you photograph at, and measure just before the picture."


def notice_in_time(found: OffsetSuggestion, number: npt.NDArray[np.int64]) -> tuple[Finding, ...]:
    """A finding where a structure in time is likelier than none. number (n,): of the series' pairs."""
    structure = found.structure
    if structure is None:
        return ()
    return (_of_structure(found, structure, number),)


def notice_left_out(found: OffsetSuggestion, number: npt.NDArray[np.int64]) -> tuple[Finding, ...]:
    """Which shots after a rest the centre was found without."""
    if not found.first:
        return ()
    shots = ", ".join(str(int(number[row])) for row in found.first)
    say = f"Left out of the centre, as after a rest and unlike the others: shot {shots}."
    advice = "One shot in twenty that is like the others is left out so by chance."
    return (Finding("left out", None, say, advice, {"shots": float(len(found.first))}),)


def notice_growth(
    found: OffsetSuggestion, skew_s: npt.NDArray[np.float64], number: npt.NDArray[np.int64]
) -> tuple[Finding, ...]:
    """Scatter that grows or shrinks over the series, at ALARM by Spearman's rank correlation of its size with its
    order. skew_s (n,): without any offset."""
    if found.structure is not None or len(found.used) < LEAST_GROWING:
        return ()
    used = np.array(found.used)
    size = np.abs(skew_s[used] - found.best_s)
    if found.drift_chance > 0.5 or np.ptp(size) == 0.0:
        return ()
    test = stats.spearmanr(used, size)
    if not float(test.pvalue) < ALARM:
        return ()
    third = used.size // 3
    first_s, last_s = (float(np.median(part)) / NORMAL_QUARTILE for part in (size[:third], size[-third:]))
    does = "grows" if last_s > first_s else "shrinks"
    say = (
        f"The scatter {does} over the series: {first_s * 1e3:.2g} ms in the first third, {last_s * 1e3:.2g} ms in the "
        f"last (shots {int(number[used[-third]])} to {int(number[used[-1]])}, robust standard deviations)."
    )
    advice = (
        "What is said of the next frame and of keepers is for the whole series: count on the last third. Look for a "
        "tiring battery or a plunger that dries, and fire again."
    )
    return (Finding("scatter moves", None, say, advice, {"first_s": first_s, "last_s": last_s}),)


def _of_structure(found: OffsetSuggestion, structure: Structure, number: npt.NDArray[np.int64]) -> Finding:
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
    return Finding(CODES[structure.kind], None, say, advice, numbers)
