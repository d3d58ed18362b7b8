"""The frames of a day, judged against the calibration: what came after a rest is left out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from coincide.rig.calibration import calibrations_beside, preset_name
from coincide.rig.file import load_rig
from coincide.session.frames import Frame, rests_s, write_frames
from coincide.timing.ready_frames import chance_of_missing
from tests.cli.fen import changed, fen_rig
from tests.cli.running import Ran, run

NAN = float("nan")
STARTS, FRAMES = 2, 30  # two starts of the box, so many frames after each


def judged(
    folder: Path,
    shifts: Sequence[float],
    *,
    boots: Sequence[int] | None = None,
    on_s: float | None = None,
    time: str | None = None,
    verdicts: Mapping[int, str] | None = None,
) -> Ran:
    """Frames with the calibration's own jitter, each so many tolerances off with the calibrated offset on, but measured
    with `on_s` on; judged by a rig whose tolerance is `time`."""
    folder.mkdir(exist_ok=True)
    rig_path = fen_rig(folder)
    kept = calibrations_beside(rig_path)[0][-1].calibration
    on = kept.offset_s if on_s is None else on_s
    rng = np.random.default_rng(11)
    frames = []
    for place, shift in enumerate(shifts):
        skew_s = kept.jitter_s * rng.standard_normal() + shift * kept.tolerance_s + kept.offset_s - on
        verdict = (verdicts or {}).get(place, "within")
        skew_s = skew_s if verdict == "within" else NAN
        boot, delays = (0 if boots is None else boots[place]), (max(on, 0.0), max(-on, 0.0))
        when = 5.0 + 20.0 * place
        frames.append(
            Frame(None, place, boot, when, kept.preset, verdict, skew_s, NAN, NAN, *delays, kept.tolerance_s)
        )
    write_frames(folder / "roll.csv", frames)
    rig = str(rig_path)
    if time is not None:
        table = re.search(r"\[tolerance.subject\]\n(\w.*\n)+", rig_path.read_text("utf-8"))
        assert table is not None
        rig = changed(folder, "today", (table.group(), f'time = "{time}"\n'))
    return run(["ready", "--rig", rig, "--frames", "roll.csv"], folder)


def test_the_newest_frames_decide(tmp_path: Path) -> None:
    ran = judged(tmp_path, [0.0] * 30 + [3.0] * 10)
    assert ran.code == 1, ran.said


def test_an_earlier_start_of_the_box_is_another_day(tmp_path: Path) -> None:
    ran = judged(tmp_path, [3.0] * 20 + [0.0] * 30, boots=[0] * 20 + [1] * 30)
    assert ran.code == 0, ran.said
    few = judged(tmp_path / "few", [0.0] * 30 + [0.0] * 3, boots=[0] * 30 + [1] * 3)
    assert few.code == 1
    assert "More pairs are needed" in few.said
    assert "since the box was last switched on" in few.said


def test_frames_are_judged_as_with_the_calibrated_offset(tmp_path: Path) -> None:
    """Small skews with another offset on are not a good sign."""
    fen_rig(tmp_path)
    kept = calibrations_beside(tmp_path / "rig.toml")[0][-1].calibration
    other = kept.offset_s - 15e-3
    fine_with_other = judged(tmp_path / "moved", [-15e-3 / kept.tolerance_s] * 30, on_s=other)
    assert fine_with_other.code == 1
    assert "Ready" not in fine_with_other.said
    as_calibrated = judged(tmp_path / "same", [0.0] * 30, on_s=other)
    assert as_calibrated.code == 1
    assert "as calibrated, but the box had" in as_calibrated.said


def test_the_rigs_tolerance_of_today_counts(tmp_path: Path) -> None:
    assert judged(tmp_path, [0.0] * 40, time="4ms").code == 0
    narrow = judged(tmp_path / "narrow", [0.0] * 40, time="0.3ms")
    assert narrow.code == 1
    assert "0.3 ms now" in narrow.said


def test_a_stale_rig_is_refused(tmp_path: Path) -> None:
    judged(tmp_path, [0.0] * 30)
    rig = changed(tmp_path, "stale", ('closure = "', 'closure = "1'))
    ran = run(["ready", "--rig", rig, "--frames", "roll.csv"], tmp_path)
    assert ran.code == 1
    assert "no longer holds" in ran.said


def test_a_damaged_entry_is_no_silence_of_a_body(tmp_path: Path) -> None:
    ran = judged(tmp_path, [0.0] * 40, verdicts={35: "damaged", 36: "not_measured"})
    assert ran.code == 0, ran.said
    silent = judged(tmp_path / "silent", [0.0] * 40, verdicts={35: "no_answer_a"})
    assert "no answer" in silent.said


@pytest.mark.parametrize(("missed", "code"), [(1, 0), (5, 1)])
def test_missed_frames_are_named_counted_and_decide_by_their_odds(
    tmp_path: Path, missed: int, code: int
) -> None:
    ran = judged(tmp_path, [0.0] * 24, verdicts={18 - place: "black_a" for place in range(missed)})
    assert ran.code == code, ran.said
    said = " ".join(ran.out.split())
    assert said.startswith("Ready: " if code == 0 else "Not ready: ")
    assert f"{missed} of " in said
    assert "frames missed (log entry 18: no light in A" in said
    assert re.search(r"\S+ % of rolls have so many or more", said)


@pytest.mark.parametrize(("missed", "frames"), [(1, 24), (2, 24), (4, 24), (3, 60)])
def test_the_odds_are_those_of_rolls_thrown(tmp_path: Path, missed: int, frames: int) -> None:
    """Judge: shares drawn from what the calibration leaves possible, rolls thrown frame by frame."""
    fen_rig(tmp_path)
    kept = calibrations_beside(tmp_path / "rig.toml")[0][-1].calibration
    proof = kept.verification
    assert proof is not None
    rng = np.random.default_rng(5)
    shares = rng.beta(0.5, kept.shots + proof.keepers + 0.5, 40_000)
    thrown = (rng.random((40_000, frames)) < shares[:, None]).sum(axis=1) >= missed
    four_sigma = 4.0 * float(np.sqrt(thrown.mean() * (1.0 - thrown.mean()) / thrown.size))
    assert abs(chance_of_missing(kept, missed, frames) - thrown.mean()) < four_sigma


def log_of(folder: Path, *, first_late: float, shift: float) -> Ran:
    """A day's frames with the calibration's own jitter, `shift` tolerances off, the first of each start of the box
    `first_late` tolerances late; judged."""
    rig_path = fen_rig(folder)
    kept = calibrations_beside(rig_path)[0][-1].calibration
    rng = np.random.default_rng(11)
    name = preset_name(load_rig(rig_path).exposures)
    delays = (max(kept.offset_s, 0.0), max(-kept.offset_s, 0.0))
    plain = Frame(None, 0, 0, 0.0, name, "within", NAN, NAN, NAN, *delays, kept.tolerance_s)
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
