"""The steps of `ready`: find the calibration, fire or read frames, judge, show."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click
import numpy as np

from coincide.cli.terminal.show import as_json as print_json
from coincide.cli.terminal.show import aside, say

if TYPE_CHECKING:
    from coincide.rig.calibration import Found
    from coincide.rig.model import Rig
    from coincide.session.model import Floats
    from coincide.timing.ready import Readiness


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict with what it rests on; `readiness` None when `why` already says no. offset_s: the calibrated one."""

    calibration: Path | None
    session: Path | None
    readiness: Readiness | None
    why: str
    offset_s: float = 0.0

    @property
    def ready(self) -> bool:
        return self.readiness is not None and self.readiness.verdict == "ready"


def judge_fresh_pairs(
    rig: Rig, rig_path: Path, where: tuple[str | None, str | None, int], *, film: bool, confirmed: bool
) -> Judged:
    """Fire pairs with the calibrated offset on until the answer is clear."""
    from coincide.cli.firing import Firing, bench, confirm_checklist, fire, session_path
    from coincide.cli.opening import opened_box
    from coincide.cli.terminal.results import analyse_file
    from coincide.rig.calibration import stale_reasons
    from coincide.timing.ready import (
        frames_to_spend,
        from_calibration,
        judge_ready,
        plan_ready,
        shots_it_takes,
    )

    found = _calibration(rig, rig_path)
    if found is None:
        return Judged(None, None, None, _none_for(rig))
    port, world, seed = where
    calibrated = from_calibration(found.calibration)
    plan = plan_ready(calibrated)
    if plan.impossible is not None:
        return Judged(found.path, None, None, f"Not ready: {plan.impossible}")
    with opened_box(rig, port, world, seed) as client:
        stale = stale_reasons(found.calibration, rig, client.identity.uid)
        if stale:
            return Judged(
                found.path, None, None, "Not ready: the calibration no longer holds. " + " ".join(stale)
            )
        aside(shots_it_takes(plan))
        if film:
            for line in frames_to_spend(plan):
                aside(line)
            if not confirmed:
                click.confirm("Spend them?", abort=True, err=True)
        items = confirm_checklist(rig, simulated=client.identity.simulated, confirmed=confirmed)
        path = session_path(rig_path, rig, "ready")
        firing = Firing(
            "ready", plan.most + 1, found.calibration.offset_s, found.calibration.preset, confirmed=items
        )

        def clear(skew_s: Floats) -> bool:
            return judge_ready(calibrated, skew_s).verdict != "go on"

        fired = fire(bench(client, rig_path), path, firing, enough=clear)
    skew_s = analyse_file(fired.path).measured.skew_s if fired.outcome.in_file else np.empty(0)
    readiness = judge_ready(calibrated, skew_s)
    if not fired.outcome.complete:
        why = " ".join(fired.outcome.sentences[-1:])
        if fired.outcome.ending == "stopped":
            why = f"stopped by hand after {fired.outcome.in_file} pairs, not clear yet. 'coincide ready' begins anew."
        return Judged(found.path, path, None, f"Not ready: {why}")
    return Judged(found.path, path, readiness, readiness.why, found.calibration.offset_s)


def judge_frames(rig: Rig, rig_path: Path, frames_path: Path) -> Judged:
    """Judge the last frames of the frame log that were shot with this pair of shutter times, those after a rest
    left out."""
    from coincide.rig.calibration import preset_name
    from coincide.session.frames import read_frames, rests_s
    from coincide.timing.offset.series import after_rest
    from coincide.timing.ready import from_calibration, judge_ready, plan_ready

    found = _calibration(rig, rig_path)
    if found is None:
        return Judged(None, None, None, _none_for(rig))
    name = preset_name(rig.exposures)
    calibrated = from_calibration(found.calibration, "sync+sync")
    plan = plan_ready(calibrated)
    frames = read_frames(frames_path)
    # A body may answer the first frame after a rest differently, and the calibration left such shots out.
    rested = after_rest(len(frames), rests_s(frames))
    steady = [f.skew_s for f, first in zip(frames, rested, strict=True) if f.preset == name and not first]
    skews = np.array(steady[-plan.most :], dtype=np.float64)
    readiness = judge_ready(calibrated, skews, first_left_out=False)
    return Judged(found.path, frames_path, readiness, readiness.why, found.calibration.offset_s)


def show_readiness(judged: Judged, *, as_json: bool) -> None:
    """The verdict first, then why."""
    found = judged.readiness
    if as_json:
        print_json(
            {
                "format": "coincide-ready-result",
                "version": 1,
                "ready": judged.ready,
                "verdict": "not ready" if found is None else found.verdict,
                "why": judged.why,
                "calibration": judged.calibration,
                "session": judged.session,
                "readiness": found,
            }
        )
        return
    if found is None:
        say(judged.why)
    else:
        said = "More pairs are needed" if found.verdict == "go on" else found.verdict.capitalize()
        say(f"{said}: {judged.why}")
        if found.verdict == "touch up":
            offset_s = judged.offset_s + found.touch_up_s
            side = "A" if offset_s > 0 else "B"
            say(
                f"The offset becomes {side} {abs(offset_s) * 1e3:.2f}ms; to have that kept: coincide calibrate"
            )
    if judged.calibration is not None:
        say(f"Compared with {judged.calibration}")


def _calibration(rig: Rig, rig_path: Path) -> Found | None:
    from coincide.rig.calibration import calibrations_beside, newest_for

    found, complaints = calibrations_beside(rig_path)
    for complaint in complaints:
        aside(complaint)
    return newest_for(found, rig)


def _none_for(rig: Rig) -> str:
    return (
        f"Not ready: there is no calibration for {rig.exposures[0]} (A) and {rig.exposures[1]} (B) beside the rig "
        "file. Run 'coincide calibrate' at these shutter times."
    )
