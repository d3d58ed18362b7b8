"""Invented recordings of many kinds, from a seed: clean ones, mildly spoilt ones, and a rig that claims what is true.

The placing of the diodes, the bodies' own constants and the like are drawn from what the claims say.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from coincide.bench.heard import Account, Wish
from coincide.bench.recording import record
from coincide.recording.files import write_sound
from coincide.rehearsal.evening import Evening
from coincide.rehearsal.light import LightScene, light_evening
from coincide.rehearsal.sound import SoundScene, sound_evening
from coincide.rig.new import TEMPLATE
from coincide.session.file import read_session
from coincide.timing.analysis import Analysis, analyse

Kind = Literal["light", "leaf", "sound"]
TRAVEL_S, FRAME_M = 0.0072, 0.024
PLACE_M = 0.001


@dataclass(frozen=True, slots=True)
class World:
    kind: Kind
    scene: LightScene | SoundScene
    rig_toml: str
    seed: int


def rig_text(exposure: str, *, leaf: bool = False) -> str:
    """The fen rig with both bodies alike."""
    text = TEMPLATE
    for old in ('exposure = "1/60"', 'exposure = "1/30"'):
        text = text.replace(old, f'exposure = "{exposure}"')
    for body in ("a", "b"):
        start = text.index(f"[bodies.{body}.shutter]")
        end = text.index(f"[bodies.{body}.lens]")
        table = [
            f"[bodies.{body}.shutter]",
            'kind = "leaf"' if leaf else 'kind = "focal-plane"',
            f'exposure = "{exposure}"',
            *(
                ('opening = "2 ms"', 'closing = "2 ms"')
                if leaf
                else (
                    f'travel = "{TRAVEL_S * 1e3} ms"',
                    'sweep = "top to bottom"',
                    "curve = 0.5",
                    "curve_uncertainty = 0.0",
                )
            ),
        ]
        text = text[:start] + "\n".join(table) + "\n\n" + text[end:]
    return text


def light_world(seed: int, *, spoilt: bool = False, leaf: bool = False) -> World:
    rng = np.random.default_rng([seed, 1, leaf, spoilt])
    marked = str(rng.choice(["1/125", "1/60", "1/30"]))
    true_s = 1.0 / (128 if marked == "1/125" else 64 if marked == "1/60" else 32)
    per_m = TRAVEL_S / FRAME_M
    placed = (0.0, 0.0) if leaf else tuple(rng.uniform(-PLACE_M, PLACE_M, 2) * per_m)
    ramp = rng.uniform(0.0012, 0.0024, 2) if leaf else rng.uniform(0.0002, 0.0004, 2)
    bend = rng.uniform(0.05, 0.2, 2) * rng.choice([-1, 1], 2)
    scene = LightScene(
        rate_hz=int(rng.choice([44_100, 48_000, 96_000])),
        pairs=20,
        every_s=0.7,
        skew_s=_skew(rng),
        jitter_s=float(rng.uniform(0.0001, 0.0006)),
        exposure_s=(true_s * rng.uniform(0.9, 1.1), true_s * rng.uniform(0.9, 1.1)),
        ramp_s=(float(ramp[0]), float(ramp[1])),
        bend=(float(bend[0]), float(bend[1])),
        placed_s=(float(placed[0]), float(placed[1])),
        cell_s=(rng.uniform(0, 12e-6), rng.uniform(0, 12e-6)),
        coupling_hz=tuple(rng.uniform(1.0, 25.0, int(rng.integers(1, 4)))),
        low_cut_hz=float(rng.choice([0.0, 20.0, 40.0] if leaf else [0.0, 20.0, 40.0, 80.0, 120.0])),
        top=(float(rng.uniform(0.1, 0.6)), float(rng.uniform(0.1, 0.6))),
        noise=float(10 ** rng.uniform(-4.2, -3.2)),
        hum=float(rng.choice([0.0, 0.003])),
        sign=(1, 1) if rng.random() < 0.5 else (-1, -1),
        swapped=bool(rng.random() < 0.5),
    )
    if spoilt:
        scene = _spoilt_light(scene, rng)
    return World("leaf" if leaf else "light", scene, rig_text(marked, leaf=leaf), seed)


def _spoilt_light(scene: LightScene, rng: np.random.Generator) -> LightScene:
    """One thing, mildly."""
    which = int(rng.integers(0, 7))
    return (
        replace(scene, agc=0.3),
        replace(scene, leak=float(rng.uniform(0.02, 0.08))),
        replace(scene, bits=8),
        replace(scene, noise=0.004, hum=0.02),
        replace(scene, ceiling=0.3),
        replace(scene, overload=1.15 / max(scene.top), low_cut_hz=40.0),
        replace(scene, alone=0),
    )[which]


def sound_world(seed: int, *, spoilt: bool = False) -> World:
    rng = np.random.default_rng([seed, 2, spoilt])
    marked = str(rng.choice(["1/30", "1/15"]))
    true_s = 1.0 / (32 if marked == "1/30" else 16)
    to_open = 0.0005 * rng.standard_normal((2, 2))
    scene = SoundScene(
        rate_hz=int(rng.choice([44_100, 48_000, 96_000])),
        pairs=12,
        skew_s=_skew(rng),
        jitter_s=float(rng.uniform(0.0001, 0.0006)),
        exposure_s=(true_s * (1 + 0.07 * rng.standard_normal()), true_s * (1 + 0.07 * rng.standard_normal())),
        travel_s=(
            TRAVEL_S * (1 + 0.03 * rng.standard_normal()),
            TRAVEL_S * (1 + 0.03 * rng.standard_normal()),
        ),
        mirror_s=(0.031, 0.031 + 0.001 * rng.standard_normal()),
        to_open_s=(
            (float(to_open[0, 0]), float(to_open[0, 1])),
            (float(to_open[1, 0]), float(to_open[1, 1])),
        ),
        alike=float(rng.uniform(0.7, 0.95)),
        cross_db=float(rng.uniform(-42, -26)),
        cross_s=float(rng.uniform(0.0005, 0.002)),
        room_db=float(rng.uniform(-50, -36)),
        noise=float(10 ** rng.uniform(-4.2, -3.2)),
        swapped=bool(rng.random() < 0.5),
    )
    if spoilt:
        scene = (
            replace(scene, winder=True),
            replace(scene, dog=0.3),
            replace(scene, bits=8),
            replace(scene, noise=0.002),
            replace(scene, alike=0.5),
        )[int(rng.integers(0, 5))]
    return World("sound", scene, rig_text(marked), seed)


def _skew(rng: np.random.Generator) -> float:
    """A quarter below a millisecond, the others up to 25 ms."""
    size = (
        rng.uniform(0.0, 0.001) if rng.random() < 0.25 else np.exp(rng.uniform(np.log(0.001), np.log(0.025)))
    )
    return float(size * rng.choice([-1, 1]))


def evening_of(world: World) -> Evening:
    if isinstance(world.scene, LightScene):
        return light_evening(world.scene, world.seed)
    return sound_evening(world.scene, world.seed)


def measured(world: World, folder: Path, wish: Wish | None = None) -> tuple[Evening, Account, Analysis]:
    """Played, written as a file, read, analysed. Raises BadInput where the recording is refused."""
    evening = evening_of(world)
    sound, session = folder / f"{world.kind}-{world.seed}.wav", folder / f"{world.kind}-{world.seed}.jsonl"
    write_sound(sound, evening.samples, evening.rate_hz)
    try:
        account = record(
            [sound], world.rig_toml, wish or Wish("sound" if world.kind == "sound" else "light"), session
        )
        return evening, account, analyse(read_session(session))
    finally:
        sound.unlink()
        session.unlink(missing_ok=True)
