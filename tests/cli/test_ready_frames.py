"""The frames of a day, judged against the calibration: what came after a rest is left out."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coincide.rig.calibration import calibrations_beside, preset_name
from coincide.rig.file import load_rig
from coincide.session.frames import Frame, rests_s, write_frames
from tests.cli.fen import fen_rig
from tests.cli.running import Ran, run

NAN = float("nan")
STARTS, FRAMES = 2, 30  # two starts of the box, so many frames after each


def log_of(folder: Path, *, first_late: float, shift: float) -> Ran:
    """A day's frames with the calibration's own jitter, `shift` tolerances off, the first of each start of the box
    `first_late` tolerances late; judged."""
    rig_path = fen_rig(folder)
    kept = calibrations_beside(rig_path)[0][-1].calibration
    rng = np.random.default_rng(11)
    name = preset_name(load_rig(rig_path).exposures)
    plain = Frame(None, 0, 0, 0.0, name, "within", NAN, NAN, NAN, NAN, NAN, kept.tolerance_s)
    frames: list[Frame] = []
    for boot in range(STARTS):
        for place in range(FRAMES):
            skew_s = kept.jitter_s * rng.standard_normal() + shift * kept.tolerance_s
            skew_s += first_late * kept.tolerance_s if place == 0 else 0.0
            frames.append(
                replace(plain, entry=len(frames), boot=boot, since_boot_s=5.0 + 20.0 * place, skew_s=skew_s)
            )
    write_frames(folder / "roll.csv", frames)
    return run(["ready", "--rig", str(rig_path), "--frames", "roll.csv"], folder)


@pytest.mark.parametrize("first_late", [0.0, 3.0])
def test_a_late_first_frame_is_no_loss_of_readiness(tmp_path: Path, first_late: float) -> None:
    ran = log_of(tmp_path, first_late=first_late, shift=0.0)
    assert ran.code == 0, ran.said
    assert "Ready" in ran.said


def test_frames_that_have_moved_are_found(tmp_path: Path) -> None:
    ran = log_of(tmp_path, first_late=0.0, shift=0.8)
    assert ran.code == 1, ran.said
    assert "Ready" not in ran.said


def test_the_quiet_before_each_frame() -> None:
    frame = Frame(None, 0, 1, 3.0, "p", "within", NAN, NAN, NAN, NAN, NAN, 1e-3)
    frames = (frame, replace(frame, since_boot_s=10.0), replace(frame, boot=2, since_boot_s=4.0))
    assert rests_s(frames).tolist() == [np.inf, 7.0, np.inf]
    assert rests_s(()).size == 0
