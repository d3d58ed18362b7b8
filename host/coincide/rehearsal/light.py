"""Two photodiodes on the two channels of a sound input, while two bodies are fired.

The light is drawn on a grid finer than the samples: nothing, a ramp that is bent or curved, full light, a ramp down.
Then it goes the way it goes in an interface, each step a filter of its own: the diode's time constant, coupling
capacitors, the low cut, gain control, the converter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import signal

from coincide.rehearsal.evening import A, B, Evening, Floats, Scene, plan_of, played, recorded

FINER = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class LightScene(Scene):
    """What is put into an evening of light, besides what any evening has.

    ramp_s, bend (A, B): bend is how far the light is from half when half of the ramp is over. placed_s: how much later
    than the frame's centre the diode's place is exposed. cell_s: time constant of the diode in its circuit.
    coupling_hz: first-order corners; low_cut_hz: second order, 0 for none. top: level of the full light. noise, hum:
    rms and amplitude, part of full scale. leak: of either channel into the other. agc: part of the gain lost while the
    light is on. suppressed: noise suppression, dB. overload: how far beyond full scale the top reaches (1: not).
    ceiling: 100 Hz light through the gate, part of the top. chopped_hz: of a dimmed torch. sign: of either channel.
    """

    every_s: float = 1.4
    ramp_s: tuple[float, float] = (0.0003, 0.0003)
    bend: tuple[float, float] = (0.05, -0.05)
    placed_s: tuple[float, float] = (0.0, 0.0)
    cell_s: tuple[float, float] = (3e-6, 3e-6)
    coupling_hz: tuple[float, ...] = (4.0, 9.0)
    low_cut_hz: float = 0.0
    top: tuple[float, float] = (0.4, 0.3)
    noise: float = 0.0005
    hum: float = 0.0
    leak: float = 0.0
    agc: float = 0.0
    suppressed_db: float = 0.0
    overload: float = 1.0
    ceiling: float = 0.0
    chopped_hz: float = 0.0
    sign: tuple[int, int] = (1, 1)


def light_evening(scene: LightScene, seed: int) -> Evening:
    """The recording and its truth."""
    rng = np.random.default_rng(seed)
    plan = plan_of(scene, rng)
    fine_hz = scene.rate_hz * FINER
    light = np.zeros((int(plan.end_s * fine_hz), 2))

    def fire(body: int, mid_s: float, exposure_s: float) -> tuple[float, float]:
        return _expose(light[:, body], fine_hz, mid_s, exposure_s, body, scene)

    skew_s, open_s, close_s = played(scene, plan, fire, rng)
    samples = _through_the_input(light, fine_hz, scene, rng)
    return Evening(samples, scene.rate_hz, skew_s, open_s, close_s, plan)


def _expose(
    light: Floats, fine_hz: int, mid_s: float, exposure_s: float, body: int, scene: LightScene
) -> tuple[float, float]:
    """Adds one exposure; when the diode had half of the light, coming and going."""
    ramp_s, bend = scene.ramp_s[body], scene.bend[body]
    mid_s += scene.placed_s[body]
    half_at = _where_half(bend)
    begins = (
        mid_s - 0.5 * exposure_s - half_at * ramp_s,
        mid_s + 0.5 * exposure_s - half_at * ramp_s,
    )
    first, last = int((begins[0] - 0.001) * fine_hz), int((begins[1] + ramp_s + 0.001) * fine_hz)
    time_s = np.arange(first, last) / fine_hz
    up, down = (_ramp((time_s - each) / ramp_s, bend) for each in begins)
    shone = up - down
    if scene.ceiling:
        shone *= 1.0 + scene.ceiling * np.abs(np.sin(2 * np.pi * 50.0 * time_s))
    if scene.chopped_hz:
        shone *= (time_s * scene.chopped_hz) % 1.0 < 0.6
    light[first:last] += shone * scene.top[body]
    return mid_s - 0.5 * exposure_s, mid_s + 0.5 * exposure_s


def _ramp(part: Floats, bend: float) -> Floats:
    """Light against the part of the ramp that is over: straight and a parabola of height `bend` on it."""
    inside = np.clip(part, 0.0, 1.0)
    return np.asarray(inside + 4.0 * bend * inside * (1.0 - inside))


def _where_half(bend: float) -> float:
    """Part of the ramp at which the light is half."""
    part = np.linspace(0.0, 1.0, 20_001)
    return float(np.interp(0.5, _ramp(part, bend), part))


def _through_the_input(
    light: Floats, fine_hz: int, scene: LightScene, rng: np.random.Generator
) -> np.ndarray:
    wave = light.copy()
    for body in (A, B):
        pole = np.exp(-1.0 / (fine_hz * scene.cell_s[body]))
        wave[:, body] = signal.lfilter([1.0 - pole], [1.0, -pole], wave[:, body])
    wave = wave + scene.leak * wave[:, ::-1]
    wave *= np.array(scene.sign) * scene.overload
    for corner_hz in scene.coupling_hz:
        wave = signal.sosfilt(signal.butter(1, corner_hz, "high", fs=fine_hz, output="sos"), wave, axis=0)
    if scene.low_cut_hz:
        wave = signal.sosfilt(
            signal.butter(2, scene.low_cut_hz, "high", fs=fine_hz, output="sos"), wave, axis=0
        )
    sampled = signal.resample_poly(wave, 1, FINER, axis=0)
    time_s = np.arange(len(sampled)) / scene.rate_hz
    sampled += scene.hum * np.sin(2 * np.pi * 50.0 * time_s + rng.uniform(0, 6.28))[:, None]
    sampled += scene.noise * rng.standard_normal(sampled.shape)
    if scene.agc:
        sampled *= _gain(sampled, scene)[:, None]
    if scene.suppressed_db:
        sampled *= _suppression(sampled, scene)[:, None]
    return recorded(sampled, scene, rng)


def _gain(wave: Floats, scene: LightScene) -> Floats:
    """Gain control: falls by `agc` within some milliseconds of a loud input, comes back within half a second."""
    loud = np.abs(wave).max(axis=1)
    attack, release = (np.exp(-1.0 / (scene.rate_hz * each)) for each in (0.006, 0.4))
    step = 32  # the detector of such a circuit is slow; a block is a millisecond or less
    blocks = loud[: len(loud) // step * step].reshape(-1, step).max(axis=1)
    level, found = 0.0, np.empty(len(blocks))
    for at, here in enumerate(blocks.tolist()):
        keep = attack if here > level else release
        level = here + (level - here) * keep**step
        found[at] = level
    found = np.repeat(found, step)
    found = np.concatenate([found, np.full(len(loud) - len(found), found[-1])])
    return np.asarray(1.0 - scene.agc * np.clip(found / (max(scene.top) * scene.overload), 0.0, 1.0))


def _suppression(wave: Floats, scene: LightScene) -> Floats:
    """Noise suppression: a gate that lets everything through for 20 ms after something loud, and hardly anything
    else."""
    loud = np.abs(wave).max(axis=1) > 20.0 * scene.noise
    hold = np.ones(int(0.02 * scene.rate_hz))
    is_open = np.convolve(loud, hold)[: len(loud)] > 0
    return np.where(is_open, 1.0, 10.0 ** (-scene.suppressed_db / 20.0))
