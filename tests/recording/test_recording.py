"""A truth put into an invented recording comes out within what is stated; what is spoilt is refused by name or widened.

Judge: the simulated evenings (`coincide.rehearsal`), whose physics share no formula with the analysis (lint-imports).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from coincide.bench.heard import Wish
from coincide.bench.recording import record
from coincide.errors import BadInput
from coincide.recording.edges import step_edge
from coincide.recording.files import write_sound
from coincide.rehearsal.light import LightScene, light_evening
from coincide.rehearsal.sound import SoundScene, sound_evening
from coincide.session.file import read_session
from coincide.timing.analysis import analyse
from coincide.timing.budget.quantities import reported, skew_budget
from tests.recording.worlds import World, light_world, measured, rig_text, sound_world

LIGHT = LightScene(pairs=6, every_s=1.1, low_cut_hz=40.0, exposure_s=(1 / 64, 1 / 64))
SOUND = SoundScene(pairs=7, every_s=1.1, exposure_s=(1 / 32, 1 / 32))


@pytest.mark.parametrize("low_cut_hz", [0.0, 100.0])
@pytest.mark.parametrize("bend", [0.2, -0.1])
def test_an_edge_is_found_to_microseconds_whatever_the_low_cut(low_cut_hz: float, bend: float) -> None:
    scene = replace(LIGHT, pairs=3, alone=0, low_cut_hz=low_cut_hz, bend=(bend, -bend))
    evening = light_evening(scene, 5)
    for pair in range(3):
        for truth in (evening.open_s[pair, 0], evening.close_s[pair, 0]):
            near = round(float(truth) * evening.rate_hz)
            edge = step_edge(evening.samples[:, 0].astype(float), near, evening.rate_hz, 1 / 64)
            assert edge is not None
            assert abs(edge.at / evening.rate_hz - truth) < 20e-6


@pytest.mark.parametrize("seed", range(3))
def test_light_is_within_its_statement(seed: int, tmp_path: Path) -> None:
    world = light_world(seed)
    _, account, analysis = measured(world, tmp_path)
    assert account.named == "bangs"
    assert analysis.suggestion is not None
    low, high = analysis.suggestion.interval_s
    # Half as much again: of three at 95 % one may be outside.
    more = 0.25 * (high - low)
    assert low - more <= world.scene.skew_s <= high + more
    found = skew_budget(analysis)
    assert found is not None
    assert any("placing of the gate sensor" in one.name for one in found.components)


# A low cut answers a slow step more steeply than the step itself goes; at a fast rate a sample of it drowns in noise.
SLOW = {
    "steep low cuts": {"coupling_hz": (24.0, 11.0, 11.0), "low_cut_hz": 40.0, "bend": (-0.11, 0.17)},
    "fast rate, noise": {"rate_hz": 96_000, "noise": 0.0005, "top": (0.25, 0.14), "bend": (0.07, 0.13)},
}


@pytest.mark.parametrize("which", SLOW)
def test_slow_blades_are_not_read_upside_down_nor_in_part(which: str, tmp_path: Path) -> None:
    scene = replace(LIGHT, pairs=4, every_s=0.8, ramp_s=(0.0022, 0.0018), **SLOW[which])  # type: ignore[arg-type]
    evening, _, analysis = measured(World("leaf", scene, rig_text("1/60", leaf=True), 6), tmp_path)
    assert np.abs(analysis.measured.skew_s - evening.skew_s).max() < 0.0002


@pytest.mark.parametrize("seed", range(2))
def test_sound_is_within_its_statement_or_says_why_not(seed: int, tmp_path: Path) -> None:
    world = sound_world(seed)
    try:
        _, _, analysis = measured(world, tmp_path)
    except BadInput as refused:
        if "Not measurable by sound" not in str(refused):
            raise
        return
    assert analysis.suggestion is not None
    assert abs(analysis.suggestion.best_s - world.scene.skew_s) < 0.003
    assert all(
        one.value_s != one.value_s for one in reported(analysis) if one.what != "skew"
    )  # nothing but skew


REFUSED: dict[str, tuple[LightScene | SoundScene, str]] = {
    "gain control": (replace(LIGHT, agc=0.9, low_cut_hz=0.0), "automatic level"),
    "noise suppression": (replace(LIGHT, suppressed_db=30.0), "noise suppression"),
    "overloaded": (replace(LIGHT, overload=4.0), "overloaded"),
    "mono": (replace(LIGHT, mono="alike"), "same signal"),
    "inverse": (replace(LIGHT, mono="inverse"), "turned over"),
    "chopped torch": (replace(LIGHT, chopped_hz=1000.0), "chopping"),
    "one body silent": (replace(LIGHT, silent="B"), "Only one channel"),
    "light through the other back": (replace(LIGHT, leak=0.2), "shows 20 %"),
    "one plate": (replace(SOUND, cross_db=-10.0), "folded towel"),
    "buzz": (replace(SOUND, buzz=0.5, exposure_s=(1 / 8, 1 / 8)), "buzzes"),
    "sound, mono": (replace(SOUND, mono="alike"), "same signal"),
}


@pytest.mark.parametrize("fault", REFUSED)
def test_what_is_spoilt_is_refused_by_name(fault: str, tmp_path: Path) -> None:
    scene, word = REFUSED[fault]
    world = World(
        "light" if isinstance(scene, LightScene) else "sound",
        scene,
        rig_text("1/60" if isinstance(scene, LightScene) else "1/8" if scene.buzz else "1/30"),
        1,
    )
    with pytest.raises(BadInput, match=word):
        measured(world, tmp_path)


@pytest.mark.parametrize(
    "change", [{"bits": 8}, {"ceiling": 0.3}, {"leak": 0.06}, {"agc": 0.9}, {"noise": 0.004, "hum": 0.02}]
)
def test_what_is_mildly_spoilt_is_answered_and_right(change: dict[str, float], tmp_path: Path) -> None:
    world = World("light", replace(LIGHT, **change), rig_text("1/60"), 2)  # type: ignore[arg-type]
    _, _, analysis = measured(world, tmp_path)
    assert abs(float(np.nanmean(analysis.measured.skew_s)) - world.scene.skew_s) < 0.0007


def test_built_in_microphones_are_told_from_diodes(tmp_path: Path) -> None:
    evening = sound_evening(SOUND, 1)
    path = tmp_path / "a.wav"
    write_sound(path, evening.samples, evening.rate_hz)
    with pytest.raises(BadInput, match=r"no steps of light|same signal"):
        record([path], rig_text("1/30"), Wish("light"), tmp_path / "a.jsonl")
    assert not (tmp_path / "a.jsonl").exists()


def test_swapped_channels_are_told_by_the_bangs_and_not_guessed_without(tmp_path: Path) -> None:
    swapped = World("light", replace(LIGHT, swapped=True), rig_text("1/60"), 3)
    _, account, analysis = measured(swapped, tmp_path)
    assert account.named == "bangs"
    assert analysis.suggestion is not None
    assert analysis.suggestion.best_s > 0.004
    unnamed = World("light", replace(LIGHT, swapped=True, alone=0), rig_text("1/60"), 3)
    _, account, analysis = measured(unnamed, tmp_path)
    assert account.named is None
    assert analysis.measured.rig.bodies.a.name == "the left channel"
    said = Wish("light", "left=B right=A")
    _, account, analysis = measured(unnamed, tmp_path, said)
    assert account.named == "said"
    assert analysis.suggestion is not None
    assert analysis.suggestion.best_s > 0.004


@pytest.mark.parametrize(("ending", "lossy"), [("wav", False), ("flac", False), ("ogg", True), ("mp3", True)])
def test_a_real_coder_there_and_back(ending: str, lossy: bool, tmp_path: Path) -> None:
    evening = light_evening(LIGHT, 4)
    path, out = tmp_path / f"e.{ending}", tmp_path / "e.jsonl"
    soundfile.write(str(path), evening.samples, evening.rate_hz)
    record([path], rig_text("1/60"), Wish("light"), out)
    analysis = analyse(read_session(out))
    assert abs(float(np.nanmean(analysis.measured.skew_s)) - float(evening.skew_s.mean())) < (
        0.002 if lossy else 20e-6
    )
    parts = {part.name for body in analysis.measured.mids.bodies for part in body.parts}
    assert ("lossy file" in parts) == lossy
    if lossy:
        with pytest.raises(BadInput, match="lossy"):
            record([path], rig_text("1/60"), Wish("sound"), tmp_path / "s.jsonl")
