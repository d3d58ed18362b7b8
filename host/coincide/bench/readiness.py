"""The steps of `ready`: find the calibration, fire or read frames, judge."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from coincide.bench.box_settings import store_preset
from coincide.bench.field import not_as_calibrated
from coincide.bench.firing import Firing, bench, confirm_checklist, fire, session_path
from coincide.bench.person import Declined, Person, Question
from coincide.box.simulated.port import SimulatedPort
from coincide.rig.calibration import calibrations_beside, newest_for, stale_reasons
from coincide.rig.file import load_rig
from coincide.rig.optics.tolerance import tolerance_s
from coincide.session.frames import read_frames
from coincide.timing.analysis import analyse_file
from coincide.timing.ready import (
    frames_to_spend,
    from_calibration,
    judge_ready,
    plan_ready,
    promise_lost,
    shots_it_takes,
)
from coincide.timing.ready_frames import judge_frame_log

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.calibration import Calibration, Found
    from coincide.rig.model import Rig
    from coincide.timing.ready import Readiness
    from coincide.timing.running import RunningSeries


@dataclass(frozen=True, slots=True)
class Judged:
    """The verdict with what it rests on; `readiness` None when `why` already says no. offset_s: the calibrated one."""

    calibration: Path | None
    session: Path | None
    readiness: Readiness | None
    why: str
    offset_s: float = 0.0
    simulated: bool = False

    @property
    def ready(self) -> bool:
        return self.readiness is not None and self.readiness.verdict == "ready"


def judge_fresh_pairs(
    client: BoxClient, rig_path: Path, person: Person, *, film: bool, confirmed: bool
) -> Judged:
    """Fire pairs with the calibrated offset on until the answer is clear."""
    rig = load_rig(rig_path)
    simulated = client.identity.simulated
    found = _calibration(rig, rig_path, person, simulated=simulated)
    if found is None:
        return Judged(None, None, None, _none_for(rig), simulated=simulated)
    calibrated = from_calibration(found.calibration, tolerance_s=tolerance_s(rig))
    plan = plan_ready(calibrated)
    if plan.impossible is not None:
        return Judged(found.path, None, None, f"Not ready: {plan.impossible}", simulated=simulated)
    unfit = _unfit(found.calibration, rig, client.identity.uid)
    if unfit is not None:
        return Judged(found.path, None, None, unfit, simulated=simulated)
    if simulated and isinstance(client.port, SimulatedPort):
        # It forgot everything when the run that calibrated it ended; a box would have kept this.
        store_preset(client, rig, rig_path, found.calibration)
    alone = not_as_calibrated(client, rig, rig_path, found.calibration)
    if alone:
        return Judged(found.path, None, None, "Not ready: " + " ".join(alone), simulated=simulated)
    person.tell(shots_it_takes(plan))
    if film:
        for line in frames_to_spend(plan):
            person.tell(line)
        if not confirmed and not person.confirm(Question("Spend them?")):
            raise Declined
    items = confirm_checklist(rig, person, simulated=client.identity.simulated, confirmed=confirmed)
    path = session_path(client, rig_path, rig, "ready")
    firing = Firing(
        "ready", plan.most + 1, found.calibration.offset_s, found.calibration.preset, confirmed=items
    )

    def clear(so_far: RunningSeries) -> bool:
        return judge_ready(calibrated, so_far.skew_s).verdict != "go on"

    fired = fire(bench(client, rig_path, person), path, firing, enough=clear)
    skew_s = analyse_file(fired.path).measured.skew_s if fired.outcome.in_file else np.empty(0)
    readiness = judge_ready(calibrated, skew_s)
    if not fired.outcome.complete:
        why = " ".join(fired.outcome.sentences[-1:])
        if fired.outcome.ending == "stopped":
            why = f"stopped by hand after {fired.outcome.in_file} pairs, not clear yet. 'coincide ready' begins anew."
        return Judged(found.path, path, None, f"Not ready: {why}", simulated=simulated)
    return Judged(found.path, path, readiness, readiness.why, found.calibration.offset_s, simulated)


def judge_frames(rig_path: Path, frames_path: Path, person: Person) -> Judged:
    """Judge the newest frames of the frame log that were shot with this pair of shutter times, those after a rest
    left out."""
    rig = load_rig(rig_path)
    found = _calibration(rig, rig_path, person)
    if found is None:
        return Judged(None, None, None, _none_for(rig))
    unfit = _unfit(found.calibration, rig, None)
    if unfit is not None:
        return Judged(found.path, frames_path, None, unfit, simulated=found.simulated)
    judged = judge_frame_log(found.calibration, tolerance_s(rig), read_frames(frames_path))
    return Judged(
        found.path, frames_path, judged.readiness, judged.why, found.calibration.offset_s, found.simulated
    )


def _unfit(calibration: Calibration, rig: Rig, box: str | None) -> str | None:
    """Why this calibration cannot be what the rig is judged by, or None."""
    stale = stale_reasons(calibration, rig, box)
    if stale:
        return "Not ready: the calibration no longer holds. " + " ".join(stale)
    lost = promise_lost(calibration, tolerance_s(rig))
    return None if lost is None else f"Not ready: {lost}"


def _calibration(rig: Rig, rig_path: Path, person: Person, *, simulated: bool | None = None) -> Found | None:
    found, complaints = calibrations_beside(rig_path, simulated=simulated)
    for complaint in complaints:
        person.tell(complaint)
    return newest_for(found, rig)


def _none_for(rig: Rig) -> str:
    return (
        f"Not ready: there is no calibration for {rig.exposures[0]} (A) and {rig.exposures[1]} (B) beside the rig "
        "file. Run 'coincide calibrate' at these shutter times."
    )
