"""An hour of 96 kHz stereo FLAC is read, measured and made a session in under a minute and 500 MB.

In a process of its own, whose largest memory the system says; the hour is an invented minute, again and again."""

from __future__ import annotations

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


# The system's own count of a child's memory has the parent's in it from before the child began; its VmHWM has not.
CHILD = """
import re, resource, sys
from pathlib import Path
from coincide.cli import main
try:
    main()
finally:
    used = resource.getrusage(resource.RUSAGE_SELF)
    kb = re.search(r"VmHWM:\\s*(\\d+)", Path("/proc/self/status").read_text())[1]
    print(used.ru_utime + used.ru_stime, kb, file=sys.stderr)
"""


@pytest.mark.benchmark
@pytest.mark.skipif(
    not Path("/proc/self/status").exists(), reason="this system does not say how much memory was used"
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
    words = [sys.executable, "-c", CHILD, "recording", str(path), "--json", "--out", "hour.jsonl"]
    began = time.perf_counter()
    done = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)
    took = time.perf_counter() - began
    assert done.returncode == 0, done.stderr
    of_a_core, kb = (float(one) for one in done.stderr.split()[-2:])
    print(f"an hour of FLAC: {took:.0f} s, {of_a_core:.0f} s of a core, {kb / 1000:.0f} MB")
    assert of_a_core < MOST_S
    assert kb < MOST_KB
