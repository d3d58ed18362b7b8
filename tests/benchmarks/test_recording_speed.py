"""An hour of 96 kHz stereo FLAC is read, measured and made a session in under a minute and 500 MB.

In a process of its own, whose largest memory the system says; the hour is an invented minute, again and again."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
import soundfile

from coincide.rehearsal.light import LightScene, light_evening
from tests.recording.worlds import rig_text

RATE_HZ, MINUTES = 96_000, 60
MOST_S, MOST_KB = 60.0, 500_000


@pytest.mark.benchmark
@pytest.mark.skipif(
    not hasattr(os, "wait4"), reason="this system does not say how much memory a process took"
)
def test_an_hour_of_flac(tmp_path: Path) -> None:
    scene = LightScene(
        rate_hz=RATE_HZ, pairs=16, alone=3, every_s=2.5, low_cut_hz=30.0, exposure_s=(1 / 64, 1 / 64)
    )
    minute = light_evening(scene, 8).samples[: 60 * RATE_HZ]
    path = tmp_path / "hour.flac"
    with soundfile.SoundFile(str(path), "w", RATE_HZ, 2, "PCM_16", format="FLAC") as file:
        for _ in range(MINUTES):
            file.write(minute)
    (tmp_path / "rig.toml").write_text(rig_text("1/60"), encoding="utf-8")
    words = [sys.executable, "-m", "coincide", "recording", str(path), "--json", "--out", "hour.jsonl"]
    began = time.perf_counter()
    with subprocess.Popen(words, cwd=tmp_path, stdout=subprocess.DEVNULL) as process:
        _, status, used = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
    took = time.perf_counter() - began
    of_a_core = used.ru_utime + used.ru_stime
    print(f"an hour of FLAC: {took:.0f} s, {of_a_core:.0f} s of a core, {used.ru_maxrss / 1000:.0f} MB")
    assert process.returncode == 0
    assert of_a_core < MOST_S
    assert used.ru_maxrss < MOST_KB
