"""An invented evening: who is fired when, and what comes of it as a recording."""

from __future__ import annotations

from collections.abc import Callable
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What any evening is made of.

    skew_s, jitter_s: mid-exposure B minus A at frame centre. exposure_s: of (A, B). shots: instead of these, the skew
    and both exposures of each pair, as another world had them. bits: of the converter. swapped: B on the left. silent:
    a body that is not seen or heard. mono: 'alike', 'inverse' or ''.
    """

    rate_hz: int = 48_000
    pairs: int = 8
    alone: int = 3
    every_s: float = 1.5
    skew_s: float = 0.006
    jitter_s: float = 0.0006
    exposure_s: tuple[float, float] = (1 / 60, 1 / 60)
    shots: tuple[tuple[float, float, float], ...] = ()
    bits: int = 16
    swapped: bool = False
    silent: str = ""
    mono: str = ""


# Of a body, its mid-exposure and its exposure: makes it happen; when it opened and closed.
Fire = Callable[[int, float, float], tuple[float, float]]


def plan_of(scene: Scene, rng: np.random.Generator) -> Programme:
    """The evening's bangs."""
    return programme(rng, len(scene.shots) or scene.pairs, alone=scene.alone, every_s=scene.every_s)


def played(
    scene: Scene, plan: Programme, fire: Fire, rng: np.random.Generator
) -> tuple[Floats, Floats, Floats]:
    """Fires bang after bang. Of those of both bodies the skews (n,), and when (A, B) opened and closed (n, 2)."""
    skews, opened, closed = [], [], []
    shots = iter(scene.shots)
    for at_s, who in zip(plan.at_s.tolist(), plan.who, strict=True):
        shot = next(shots, None) if who == "AB" else None
        skew_s = shot[0] if shot else scene.skew_s + scene.jitter_s * float(rng.standard_normal())
        mids = (at_s - 0.5 * skew_s, at_s + 0.5 * skew_s)
        ends = np.full((2, 2), np.nan)
        for body, letter in enumerate("AB"):
            if letter in who and letter not in scene.silent:
                varied = scene.exposure_s[body] * (1.0 + 0.01 * float(rng.standard_normal()))
                ends[body] = fire(body, mids[body], shot[1 + body] if shot else varied)
        if who == "AB":
            skews.append(skew_s)
            opened.append(ends[:, 0])
            closed.append(ends[:, 1])
    return np.array(skews), np.array(opened), np.array(closed)


def recorded(wave: Floats, scene: Scene, rng: np.random.Generator) -> npt.NDArray[np.float32]:
    """What the recorder makes of both channels: the right way round or not, one of them or two, rounded."""
    if scene.swapped:
        wave = wave[:, ::-1]
    if scene.mono:
        one = wave.mean(axis=1)
        wave = np.stack([one, one if scene.mono == "alike" else -one], axis=1)
    return quantised(wave, scene.bits, rng)


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
