"""The steps of a calibration in their order: each calls the library, none computes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.bench.box_settings import store_preset
from coincide.bench.firing import Bench, Fired, Firing, bench, fire, session_path
from coincide.bench.opening.broken_off import CalibrationFiles, calibration_files, fresh_file
from coincide.bench.person import Person, Shows, Step
from coincide.bench.waking import longer_by_s, waking, waking_sentence
from coincide.box.plans import offset_plan
from coincide.errors import BadInput
from coincide.rig import calibration as kept_files
from coincide.rig.calibration import preset_name
from coincide.rig.plan import rig_plan
from coincide.session.file import read_session
from coincide.timing.analysis import analyse_file, verified
from coincide.timing.shutter.mid_exposure import learn

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.calibration import Calibration
    from coincide.rig.model import Rig
    from coincide.timing.analysis import Analysis
    from coincide.timing.offset.verify import Verification
    from coincide.timing.running import RunningSeries


# B fires so long after A: longer than the lag of a body worth calibrating, within what the box can delay.
PLUGS_APART_S = -0.45
LEAST_PAIRS = 15  # before that a lag in two humps may look like one
ASKED_EVERY = 5
ENOUGH_SHARE = 0.25  # width of the offset's interval against the tolerance
CLOCK_NOTICED_S = 5.0  # less is two calibrations in quick succession


@dataclass(frozen=True, slots=True)
class Calibrated:
    """How far a calibration came. `kept`: the calibration file, or None with `why_not` saying why."""

    measured: Fired
    analysis: Analysis | None
    fresh: Fired | None
    fresh_analysis: Analysis | None
    verification: Verification | None
    kept: Path | None
    why_not: str | None

    @property
    def simulated(self) -> bool:
        """Whether a simulated box was calibrated: then nothing was measured."""
        return self.measured.simulated


def calibrate(
    client: BoxClient,
    rig_path: Path,
    pairs: tuple[int, int],
    confirmed: tuple[str, ...],
    person: Person,
    *,
    anew: bool = False,
    enough: bool = False,
) -> Calibrated:
    """Measure `pairs[0]` pairs without an offset, then `pairs[1]` with the one they suggest; keep it if they agree.

    A calibration that was broken off, by whatever, is gone on with, unless `anew`. `enough`: measure no more pairs than
    the tolerance asks for.
    """
    rig_bench = bench(client, rig_path, person)
    files = calibration_files(rig_bench, pairs, anew=anew)
    try:
        return _calibrated(rig_bench, files, pairs, confirmed, enough=enough)
    finally:
        files.note.leave()


def _calibrated(
    rig_bench: Bench,
    files: CalibrationFiles,
    pairs: tuple[int, int],
    confirmed: tuple[str, ...],
    *,
    enough: bool,
) -> Calibrated:
    client, rig_path, rig, person = rig_bench.client, rig_bench.rig_path, rig_bench.rig, rig_bench.person
    most = "at most " if enough else ""
    person.tell(
        f"This takes {most}{1 + sum(pairs)} releases of each body: 1 for the plugs, {pairs[0]} to measure, "
        f"{pairs[1]} to verify."
    )

    person.progress(Step("1. Plugs: one pair fired far apart shows who answers to which release."))
    firing = Firing("plugs", 1, PLUGS_APART_S, more_lead_s=longer_by_s(rig), confirmed=confirmed)
    plugs = fire(rig_bench, session_path(client, rig_path, rig, "plugs"), firing)
    wrong = _plugs_wrong(plugs)
    if wrong is not None:
        return Calibrated(plugs, None, None, None, None, None, wrong)

    at = f"{rig.exposures[0]} (A) and {rig.exposures[1]} (B)"
    person.progress(Step(f"2. Measure: {pairs[0]} pairs at {at}, no offset."))
    firing = Firing("series", pairs[0], confirmed=confirmed)
    wakes = waking(rig, plugs)

    def ends(so_far: RunningSeries) -> bool:
        return bool(wakes.sleepers(so_far.measured)) or (enough and is_enough(so_far))

    fired = fire(rig_bench, files.measured, firing, ends)
    if not fired.outcome.complete:
        return Calibrated(fired, None, None, None, None, None, _stopped(fired))
    analysis = analyse_file(fired.path)
    asleep = wakes.sleepers(analysis.measured)
    if asleep:
        files.note.forget()
        return Calibrated(fired, analysis, None, None, None, None, waking_sentence(rig, asleep))
    person.progress(Shows(analysis))
    suggestion = analysis.suggestion
    if suggestion is None:
        files.note.forget()
        return Calibrated(fired, analysis, None, None, None, None, analysis.why_none)

    person.progress(Step(f"3. Verify: {pairs[1]} fresh pairs with the offset on."))
    firing = Firing("verify", pairs[1], suggestion.offset_s, preset_name(rig.exposures), confirmed=confirmed)
    plan = offset_plan(suggestion.offset_s, client.identity, rig_plan(rig))
    fresh = fire(rig_bench, fresh_file(rig_bench, files, pairs, plan), firing)
    if not fresh.outcome.complete:
        return Calibrated(fired, analysis, fresh, None, None, None, _stopped(fresh))
    fresh_analysis = analyse_file(fresh.path)
    try:
        verification = verified(suggestion, fresh_analysis.measured)
    except BadInput as refused:
        files.note.forget()
        return Calibrated(fired, analysis, fresh, fresh_analysis, None, None, str(refused))
    if not verification.centre_agrees:
        why = "the fresh series does not agree with what was predicted"
        files.note.forget()
        return Calibrated(fired, analysis, fresh, fresh_analysis, verification, None, why)
    kept = _keep(rig_bench, analysis, verification, (fired.path, fresh.path))
    files.note.forget()
    return Calibrated(fired, analysis, fresh, fresh_analysis, verification, kept, None)


def is_enough(so_far: RunningSeries) -> bool:
    """Whether more pairs would tell nothing that matters at this tolerance; asked every fifth pair."""
    if so_far.before + so_far.taken < LEAST_PAIRS or so_far.taken % ASKED_EVERY:
        return False
    found = so_far.suggestion()
    return found is not None and found.interval_s[1] - found.interval_s[0] < found.tolerance_s * ENOUGH_SHARE


def _plugs_wrong(plugs: Fired) -> str | None:
    """What the pair fired far apart showed to be wrong, or None."""
    if not plugs.outcome.complete:
        return _stopped(plugs)
    kinds = ("swapped", "no answer")
    said = [remark.say for remark in read_session(plugs.path).remarks if remark.kind in kinds]
    return " ".join(said) or None


def _stopped(fired: Fired) -> str:
    why = fired.outcome.sentences[-1] if fired.outcome.sentences else fired.outcome.ending
    if fired.outcome.ending == "stopped":
        why = "The same command goes on from there."  # that it was by hand the hand knows
    return f"the {fired.path.stem.rsplit('-', 1)[-1]} stopped after {fired.outcome.in_file} pairs. {why}"


def _keep(
    bench: Bench,
    analysis: Analysis,
    verification: Verification,
    sessions: tuple[Path, Path],
) -> Path:
    """Write the calibration beside the rig, and its preset into the box."""
    client, rig, rig_path = bench.client, bench.rig, bench.rig_path
    calibration = _calibration(client, rig, analysis, verification, sessions)
    # A run that was broken off after this step, and is gone on with, finds its calibration there.
    there = [
        one.path
        for one in kept_files.calibrations_beside(rig_path, simulated=calibration.simulated)[0]
        if one.calibration.sessions == calibration.sessions
    ]
    kept = there[0] if there else kept_files.save_calibration(rig_path, calibration)
    _say_if_set_back(kept_files.read_calibration(kept), bench.person)
    store_preset(client, rig, rig_path, calibration)
    return kept


def _say_if_set_back(calibration: Calibration, person: Person) -> None:
    if (calibration.rank - datetime.fromisoformat(calibration.created)).total_seconds() > CLOCK_NOTICED_S:
        person.tell(
            f"The clock of this computer says {calibration.created[:19]}, earlier than when the calibration before was "
            "made: set it right. This calibration counts as the newest all the same."
        )


def _calibration(
    client: BoxClient,
    rig: Rig,
    analysis: Analysis,
    verification: Verification,
    sessions: tuple[Path, Path],
) -> Calibration:
    suggestion, measured = analysis.suggestion, analysis.measured
    assert suggestion is not None
    return kept_files.Calibration(
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        rig_name=rig.name,
        exposures=rig.exposures,
        apertures=(rig.bodies.a.lens.aperture, rig.bodies.b.lens.aperture),
        offset_s=suggestion.offset_s,
        interval_s=suggestion.interval_s,
        jitter_s=suggestion.jitter_s,
        expected_keepers=suggestion.expected_keepers,
        tolerance_s=measured.tolerance_s,
        shots=suggestion.shots_used,
        how="+".join(body.how for body in measured.mids.bodies),
        sessions=tuple(path.name for path in sessions),
        box=client.identity.uid,
        verification=kept_files.Verification(
            shots=verification.pairs,
            keepers=verification.keepers,
            centre_s=verification.centre_s,
            centre_interval_s=verification.centre_interval_s,
            jitter_s=verification.jitter_s,
            keepers_interval=verification.share_interval,
            passed=verification.agrees,
        ),
        learned=tuple(one for one in learn(measured.shots, rig) if one is not None),
        rig=kept_files.timing_keys(rig),
        simulated=client.identity.simulated,
    )
