"""What can be wrong with a recording of light, found in it and called by its name."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput
from coincide.recording.edges import Floats
from coincide.recording.find import Samples
from coincide.recording.pulse import Pulse

QUIETER = 10.0  # 20 dB
MOST_LEAK = 0.1
GAIN_SAID, GAIN_REFUSED = 0.1, 1.0 / 3.0
FULL = 0.985  # of full scale, from which samples in a row are overloaded
UNLIKE = 0.15  # of the step, left over where clicks and no steps were recorded


def check_alike(wave: Floats) -> float:
    """Correlation of the changes in both channels, -1 to 1; 0 where one of them is silent."""
    change = np.diff(wave, axis=0)
    size = np.sqrt((change**2).mean(axis=0))
    if size.min() <= 0.0:
        return 0.0
    return float((change[:, 0] * change[:, 1]).mean() / (size[0] * size[1]))


def is_suppressed(wave: Samples, ends: Sequence[int], rate_hz: float) -> bool:
    """Whether the noise around a bang comes and goes by more than 20 dB within 50 ms of it."""
    if not ends:
        return False
    frame = max(int(0.002 * rate_hz), 16)
    near = int(0.1 * rate_hz)
    first, last = max(min(ends) - near, 0), min(max(ends) + near, len(wave))
    rough = np.abs(np.diff(wave[first:last], 2, axis=0)).max(axis=1)
    whole = len(rough) // frame
    if whole < 12:
        return False
    least = np.abs(np.diff(wave[first:last], axis=0))
    bit = float(
        least[least > 0].min(initial=1.0)
    )  # the converter's step: noise below it comes and goes by itself
    level = np.median(rough[: whole * frame].reshape(whole, frame), axis=1) + max(3e-5, bit)
    centre = first + frame * (np.arange(whole) + 0.5)
    outside = (centre < min(ends) - 2 * frame) | (centre > max(ends) + 2 * frame)
    if outside.sum() < 6:
        return False
    seen = level[outside]
    steady = np.sort(seen)
    return bool(np.median(steady[-4:]) > QUIETER * np.median(steady[:4]))


def clipped_near(wave: Samples, at: int, ramp: float) -> bool:
    """Whether samples next to an edge stand at full scale in a row."""
    reach = int(ramp) + 8
    part = np.abs(wave[max(at - reach, 0) : at + reach]) > FULL
    return bool(np.convolve(part, np.ones(3), "valid").max(initial=0.0) >= 3)


def gain_moved(
    sizes: Sequence[tuple[float, float]], spreads: Sequence[float], name: str
) -> tuple[float, str]:
    """Change of the gain from opening to closing step, pair after pair, and a sentence; 0 and '' where it stood still,
    or where the steps of slow blades are not known well enough to tell (spreads, as a part of a step).

    Raises BadInput beyond a third.
    """
    ratio = np.array([close / opened for opened, close in sizes if opened > 0])
    if ratio.size < 2:
        return 0.0, ""
    moved = float(abs(np.median(ratio) - 1.0))
    scatter = 1.4826 * float(np.median(np.abs(ratio - np.median(ratio)))) / np.sqrt(ratio.size)
    doubt = float(np.median(spreads))
    if moved <= max(GAIN_SAID, 3.0 * scatter, doubt):
        return 0.0, ""
    if moved - doubt > GAIN_REFUSED:
        raise BadInput(
            f"The {name} channel's gain changes by {100 * moved:.0f} % from the opening to the closing of the shutter: "
            "switch off automatic level (gain control, limiter), and record again."
        )
    return moved, (
        f"The {name} channel's gain changes by {100 * moved:.0f} % within an exposure, which widens the result: "
        f"switch off "
        "automatic level."
    )


def refuse_leak(leak: tuple[float, float]) -> None:
    """Raises BadInput where one channel shows more than a tenth of the other."""
    for name, other, part in (("left", "right", leak[0]), ("right", "left", leak[1])):
        if abs(part) > MOST_LEAK:
            raise BadInput(
                f"The {other} channel shows {100 * abs(part):.0f} % of what comes in on the {name} one: light "
                f"reaches the "
                "other body's diode, or the lead joins the channels. Cover both backs with dark cloth, take a "
                "lead that "
                "keeps the channels apart, and record again."
            )


def refuse_suppression(suppressed: int, bangs: int) -> None:
    """Raises BadInput where the noise comes and goes with the bangs."""
    if bangs and suppressed > 0.5 * bangs:
        raise BadInput(
            "The noise falls away within moments of each bang: noise suppression is on, and it cuts edges off. "
            "Switch it "
            "off (in the recorder, the sound settings, the meeting program), and record again."
        )


def refuse_chopped(chopped: int, bangs: int) -> None:
    """Raises BadInput where the lamp goes on and off while the shutter is open."""
    if bangs and chopped > 0.5 * bangs:
        raise BadInput(
            "The light goes on and off many times while the shutter is open: the torch is dimmed by chopping. "
            "Set it to full "
            "power, or take a lamp on direct current, and record again."
        )


def refuse_clicks(bangs: int, pairs: Sequence[tuple[Pulse | None, Pulse | None]]) -> None:
    """Raises BadInput where there are bangs without steps of light."""
    if not bangs:
        raise BadInput(
            "Nothing happens in this recording: check that the diodes are on the recorded input, that the level "
            "is up, and "
            "that light falls through the open shutter."
        )
    unlike: npt.NDArray[np.float64] = np.array(
        [one.unlike for pair in pairs for one in pair if one is not None]
    )
    lit = sum(any(pair) for pair in pairs)
    if lit < 0.5 * bangs or (unlike.size and np.median(unlike) > UNLIKE):
        raise BadInput(
            "There are clicks in this recording but no steps of light: the built-in microphones were recorded "
            "instead of the "
            "diodes, or the marked times in the rig are not those that were set. Choose the input with the "
            "diodes, or say "
            "'--sound' if contact microphones were meant."
        )
