"""Two contact microphones, one on each body, while two bodies are fired.

A body is a handful of resonances that each blow excites: the mirror, the start and the arrest of either curtain,
the mirror's way back. What the other microphone hears of it comes through the table or the air, later and duller;
the room answers with a tail.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from coincide.rehearsal.evening import Evening, Floats, Scene, plan_of, played, recorded

BLOWS = ("mirror", "first starts", "first stops", "second starts", "second stops", "mirror back")


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundScene(Scene):
    """What is put into an evening of sound, besides what any evening has.

    travel_s (A, B). mirror_s (A, B): mirror to first curtain. to_open_s (A, B, first and second): how much later than
    the usual, from the click to light at the centre. alike: 1 for bodies that sound the same, 0 for strangers.
    cross_db, cross_s: of what the other microphone hears. room_db: of the room's tail. noise: rms. winder: a motor that
    winds afterwards. buzz: an escapement between the curtains. dog: something loud that is no shutter, as a part of the
    pairs.
    """

    exposure_s: tuple[float, float] = (1 / 30, 1 / 30)
    travel_s: tuple[float, float] = (0.0072, 0.0072)
    mirror_s: tuple[float, float] = (0.031, 0.032)
    to_open_s: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0))
    alike: float = 0.8
    cross_db: float = -32.0
    cross_s: float = 0.0015
    room_db: float = -38.0
    level: float = 0.25
    noise: float = 0.0005
    winder: bool = False
    buzz: float = 0.0
    dog: float = 0.0


@dataclass(frozen=True, slots=True)
class _Body:
    """tone_hz, decay_s (modes,); weight (blows, modes); loud (blows,)."""

    tone_hz: Floats
    decay_s: Floats
    weight: Floats
    loud: Floats


def sound_evening(scene: SoundScene, seed: int) -> Evening:
    """The recording and its truth: open_s and close_s are light at the frame's centre."""
    rng = np.random.default_rng(seed)
    plan = plan_of(scene, rng)
    own = np.zeros((int(plan.end_s * scene.rate_hz), 2))
    bodies = _bodies(rng, scene.alike)

    def fire(body: int, mid_s: float, exposure_s: float) -> tuple[float, float]:
        return _fire(own[:, body], mid_s, exposure_s, body, bodies[body], scene, rng)

    skew_s, open_s, close_s = played(scene, plan, fire, rng)
    samples = _heard(own, plan.at_s, scene, rng)
    return Evening(samples, scene.rate_hz, skew_s, open_s, close_s, plan)


def _bodies(rng: np.random.Generator, alike: float) -> tuple[_Body, _Body]:
    tone_hz = np.exp(rng.uniform(np.log(900.0), np.log(11_000.0), 9))
    decay_s = rng.uniform(0.0006, 0.003, 9)
    weight, loud = rng.normal(size=(6, 9)), np.exp(rng.normal(0.0, 0.35, 6)) * (1.0, 0.6, 1.0, 0.6, 1.0, 0.8)
    first = _Body(tone_hz, decay_s, weight, loud)
    off = 1.0 - alike
    second = _Body(
        tone_hz * np.exp(0.3 * off * rng.normal(size=9)),
        decay_s * np.exp(0.5 * off * rng.normal(size=9)),
        weight * (1 - off) + off * 2.0 * rng.normal(size=(6, 9)),
        loud * np.exp(0.9 * off * rng.normal(size=6)),
    )
    return first, second


def _fire(
    own: Floats,
    mid_s: float,
    exposure_s: float,
    body: int,
    make: _Body,
    scene: SoundScene,
    rng: np.random.Generator,
) -> tuple[float, float]:
    open_s, close_s = mid_s - 0.5 * exposure_s, mid_s + 0.5 * exposure_s
    travel_s = scene.travel_s[body]
    starts = [
        end - 0.58 * travel_s - late
        for end, late in zip((open_s, close_s), scene.to_open_s[body], strict=True)
    ]
    blows = (
        starts[0] - scene.mirror_s[body] + 0.0003 * rng.standard_normal(),
        starts[0],
        starts[0] + travel_s,
        starts[1],
        starts[1] + travel_s,
        starts[1] + travel_s + 0.4 * scene.mirror_s[body],
    )
    length = int(0.03 * scene.rate_hz)
    time_s = np.arange(length) / scene.rate_hz
    for blow, at_s in enumerate(blows):
        strength = scene.level * make.loud[blow] * np.exp(0.15 * rng.standard_normal())
        first = int(at_s * scene.rate_hz)
        late_s = first / scene.rate_hz - at_s  # the grid is coarser than the blow
        since_s = np.maximum(time_s + late_s, 0.0)
        for tone_hz, decay_s, weight in zip(make.tone_hz, make.decay_s, make.weight[blow], strict=True):
            ringing = (
                np.exp(-since_s / decay_s) * np.sin(2 * np.pi * tone_hz * since_s) * (time_s + late_s >= 0)
            )
            own[first : first + length] += 0.35 * strength * weight * ringing
    if scene.buzz:
        tick_hz = 350.0
        for tick_s in np.arange(starts[0] + travel_s, starts[1], 1.0 / tick_hz):
            first = int(tick_s * scene.rate_hz)
            ringing = np.exp(-time_s / 0.0008) * np.sin(2 * np.pi * 3100.0 * time_s)
            own[first : first + length] += scene.buzz * scene.level * ringing
    if scene.winder:
        first, last = (int((blows[-1] + add) * scene.rate_hz) for add in (0.06, 0.4))
        part = own[first:last]
        part += 0.3 * scene.level * rng.standard_normal(len(part)) * (np.sin(np.arange(len(part)) / 60.0) > 0)
    return open_s, close_s


def _heard(own: Floats, at_s: Floats, scene: SoundScene, rng: np.random.Generator) -> np.ndarray:
    rate_hz = scene.rate_hz
    tail_s = np.arange(int(0.25 * rate_hz)) / rate_hz
    room = rng.standard_normal(len(tail_s)) * np.exp(-tail_s / 0.06)
    room *= 10 ** (scene.room_db / 20) / np.sqrt((room**2).sum())
    dull = signal.butter(2, 5000.0, fs=rate_hz, output="sos")
    late = int(scene.cross_s * rate_hz)
    other = signal.sosfilt(dull, np.roll(own[:, ::-1], late, axis=0), axis=0)
    heard = own + 10 ** (scene.cross_db / 20) * other
    both = own.sum(axis=1)
    heard = heard + signal.fftconvolve(both, room)[: len(own), None]
    if scene.dog:
        for one in at_s[rng.random(len(at_s)) < scene.dog]:
            first = int((one + 0.55) * rate_hz)
            part = heard[first : first + int(0.12 * rate_hz)]
            time_s = np.arange(len(part)) / rate_hz
            bark = np.sin(2 * np.pi * 620.0 * time_s) * np.sin(
                np.pi * time_s / 0.12
            ) + 0.3 * rng.standard_normal(len(part))
            part += 0.15 * bark[:, None]
    heard = heard + scene.noise * rng.standard_normal(heard.shape)
    return recorded(heard, scene, rng)
