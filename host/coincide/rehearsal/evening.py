"""An invented evening: who is fired when, and what comes of it as a recording."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
A, B = 0, 1


@dataclass(frozen=True, slots=True)
class Programme:
    """Bangs in order, (n,): when (seconds) and of whom ('A', 'B' or 'AB')."""

    at_s: Floats
    who: tuple[str, ...]

    @property
    def end_s(self) -> float:
        """When the recorder is switched off."""
        return float(self.at_s[-1]) + 1.2


@dataclass(frozen=True, slots=True)
class Evening:
    """samples (n, 2), left and right, full scale 1. skew_s (pairs,): mid-exposure B minus A at frame centre, of every
    bang of both; open_s, close_s (pairs, 2): half of the light at the diode (light), else the frame's centre."""

    samples: npt.NDArray[np.float32]
    rate_hz: int
    skew_s: Floats
    open_s: Floats
    close_s: Floats
    programme: Programme


def programme(rng: np.random.Generator, pairs: int, *, alone: int, every_s: float) -> Programme:
    """`alone` bangs of A, as many of B, then `pairs` of both, at a hand's uneven pace."""
    who = ("A",) * alone + ("B",) * alone + ("AB",) * pairs
    gaps = every_s * rng.uniform(0.9, 1.25, len(who))
    return Programme(np.cumsum(gaps) - gaps[0] + 0.8, who)


def quantised(wave: Floats, bits: int, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """Clipped at full scale and rounded to `bits`, with the half step of dither that a converter's noise gives."""
    steps = 2.0 ** (bits - 1)
    dithered = np.round(np.clip(wave, -1.0, 1.0 - 1.0 / steps) * steps + rng.uniform(-0.5, 0.5, wave.shape))
    return np.clip(dithered / steps, -1.0, 1.0 - 1.0 / steps).astype(np.float32)
