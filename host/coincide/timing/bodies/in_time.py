"""What a series shows of structure in time, in sentences: the skew of the pair, not one body's lag."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coincide.timing.finding import Finding
from coincide.timing.offset.doubt import Doubt
from coincide.timing.offset.frames import growth
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
AGAIN = "Let both bodies come to rest, fire again at the pace you photograph at, and measure just before the picture."


def notice_in_time(found: OffsetSuggestion, number: npt.NDArray[np.int64]) -> tuple[Finding, ...]:
    """A finding where a structure in time is likelier than none, or where the pairs cannot tell. number (n,): of the
    series' pairs."""
    if found.structure is not None:
        return (_of_structure(found, found.structure, number),)
    if found.doubt is not None:
        return (_of_doubt(found, found.doubt),)
    return ()


def _of_doubt(found: OffsetSuggestion, doubt: Doubt) -> Finding:
    still_s = 0.5 * (found.interval_s[1] - found.interval_s[0])
    wandering_s = max(float(np.hypot(doubt.half_s, 1.96 * found.type_b_s)), still_s)
    say = (
        f"{len(found.used)} pairs cannot tell a still centre from a wandering one: if it wanders, what it is now is "
        f"known to \u00b1{wandering_s * 1e3:.2g} ms (95 %), not to \u00b1{still_s * 1e3:.2g} ms."
    )
    advice = (
        f"Of still series as long, {_one_in(doubt.by_chance)} is told this by chance. Fire more pairs: sixty tell most "
        "movements apart from scatter."
    )
    numbers = {"half_s": wandering_s, "by_chance": doubt.by_chance}
    return Finding("cannot tell", None, say, advice, numbers)


def notice_shape(found: OffsetSuggestion) -> tuple[Finding, ...]:
    """What is said where the scatter is no single even hump, and the offset is by counting."""
    if found.method != "kernel":
        return ()
    half_s = 0.5 * (found.interval_s[1] - found.interval_s[0])
    counted = (
        f"the offset is where most pairs are kept, to \u00b1{half_s * 1e3:.2g} ms (95 %), and "
        f"{abs(found.best_s - found.median_s) * 1e3:.2g} ms from the middle pair"
    )
    if found.tail:
        side = "later" if found.tail > 0 else "earlier"
        say = f"The skews are lopsided, with a tail towards {side} B: {counted}."
    else:
        say = f"The scatter is no normal one (more than one hump, or a long tail either way): {counted}."
    advice = (
        "Look at the plot of skews for what the far pairs have in common (a wind-on, a pause, a body that waits). Of "
        "even scatter few series in a hundred are told this by chance."
    )
    return (Finding("scatter", None, say, advice, {"half_s": half_s, "tail": float(found.tail)}),)


def _one_in(share: float) -> str:
    return f"one in {round(1.0 / share)}"


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
    """Scatter that grows or shrinks over the series. skew_s (n,): without any offset."""
    used = np.array(found.used)
    # Of a drift what is left is not what the shots are about one centre.
    if found.structure is not None or found.drift_chance > 0.5:
        return ()
    grown = growth(skew_s[used] - found.best_s)
    if grown is None:
        return ()
    first_s, last_s, third = grown.first_s, grown.last_s, used.size // 3
    does = "grows" if last_s > first_s else "shrinks"
    say = (
        f"The scatter {does} over the series: {first_s * 1e3:.2g} ms in the first third, {last_s * 1e3:.2g} ms in the "
        f"last (shots {int(number[used[-third]])} to {int(number[used[-1]])}, robust standard deviations)."
    )
    advice = (
        "The jitter, the next frame and the keepers that are foretold are those of the end. Look for a tiring "
        "battery or a plunger that dries, and fire again."
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
