"""An invented evening to try `recording` on: a sound file, and a rig for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import tomlkit

from coincide.durable import write_outputs
from coincide.recording.files import write_sound
from coincide.rehearsal.light import LightScene, light_evening
from coincide.rehearsal.sound import SoundScene, sound_evening
from coincide.rig.file import load_rig, read_text
from coincide.rig.new import write_new

PAIRS = 20


def rehearse(kind: str, path: Path, rig_path: Path, seed: int) -> tuple[str, ...]:
    """Writes the file, and the invented rig where there is none at rig_path. What to try then, in sentences. Raises
    BadInput where the file is there already."""
    said = []
    if not rig_path.exists():
        write_new(rig_path)
        said.append(f"Wrote {rig_path}, the invented fen rig.")
    rig = load_rig(rig_path)
    exposures = tuple(body.shutter.exposure.nominal_s for body in rig.both)
    if kind == "light":
        scene = LightScene(
            pairs=PAIRS, exposure_s=(exposures[0], exposures[1]), low_cut_hz=30.0, skew_s=0.0062, every_s=2.0
        )
        scene = replace(scene, placed_s=(0.00012, -0.00015))
        evening = light_evening(scene, seed)
    else:
        slower = rig.exposures[exposures.index(max(exposures))]
        same = (max(exposures), max(exposures))
        evening = sound_evening(SoundScene(pairs=PAIRS, exposure_s=same, skew_s=0.0062, every_s=2.0), seed)
    write_sound(path, evening.samples, evening.rate_hz, invented=True)
    flag = "" if kind == "light" else " --sound"
    if kind == "sound" and exposures[0] != exposures[1]:
        alike = path.with_name(f"{path.stem}-rig.toml")
        write_outputs({alike: _both_at(slower, read_text(rig_path, "rig")).encode()})
        said.append(
            f"Sound measures bodies at equal times, and in {rig_path} they are {' and '.join(rig.exposures)}: wrote "
            f"{alike}, the same rig with both at {slower}. On a real evening set both bodies so."
        )
        flag += f" --rig {alike}"
    said.append(f"Wrote {path}: an invented evening, A and B three times alone and {PAIRS} times together.")
    said.append(f"Try: coincide recording {path}{flag}")
    return tuple(said)


def _both_at(exposure: str, rig_toml: str) -> str:
    document = tomlkit.parse(rig_toml)
    for letter in "ab":
        body: Any = document["bodies"][letter]
        body["shutter"]["exposure"] = exposure
    return tomlkit.dumps(document)
