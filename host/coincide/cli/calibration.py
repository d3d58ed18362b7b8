"""The steps of a calibration in their order: each calls the library, none computes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from coincide.cli.broken_off import calibration_files, fresh_file
from coincide.cli.firing import Fired, Firing, bench, fire, session_path
from coincide.cli.terminal.results import analyse_file, show_analysis
from coincide.cli.terminal.show import as_json as print_json
from coincide.cli.terminal.show import aside, say
from coincide.errors import BadInput, BoxFailed
from coincide.rig.plan import rig_plan

if TYPE_CHECKING:
    from coincide.box.cable.client import BoxClient
    from coincide.rig.calibration import Calibration
    from coincide.rig.model import Rig
    from coincide.timing.analysis import Analysis
    from coincide.timing.offset.verify import Verification


# B fires so long after A: longer than the lag of a body worth calibrating, within what the box can delay.
PLUGS_APART_S = -0.45
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


def calibrate(
    client: BoxClient,
    rig_path: Path,
    pairs: tuple[int, int],
    confirmed: tuple[str, ...],
    *,
    quiet: bool = False,
    anew: bool = False,
) -> Calibrated:
    """Measure `pairs[0]` pairs without an offset, then `pairs[1]` with the one they suggest; keep it if they agree.

    A calibration that was broken off, by whatever, is gone on with, unless `anew`.
    """
    from coincide.box.plans import offset_plan
    from coincide.rig.calibration import preset_name
    from coincide.timing.analysis import verified

    rig_bench = bench(client, rig_path)
    rig = rig_bench.rig
    tell = _silent if quiet else say
    files = calibration_files(rig_bench, pairs, anew=anew)

    tell("1. Plugs: one pair fired far apart shows who answers to which release.")
    firing = Firing("plugs", 1, PLUGS_APART_S, confirmed=confirmed)
    plugs = fire(rig_bench, session_path(rig_path, rig, "plugs"), firing)
    wrong = _plugs_wrong(plugs)
    if wrong is not None:
        return Calibrated(plugs, None, None, None, None, None, wrong)

    tell(f"2. Measure: {pairs[0]} pairs at {rig.exposures[0]} (A) and {rig.exposures[1]} (B), no offset.")
    firing = Firing("series", pairs[0], confirmed=confirmed)
    fired = fire(rig_bench, files.measured, firing)
    if not fired.outcome.complete:
        return Calibrated(fired, None, None, None, None, None, _stopped(fired))
    analysis = analyse_file(fired.path)
    if not quiet:
        show_analysis(analysis)
    suggestion = analysis.suggestion
    if suggestion is None:
        files.note.forget()
        return Calibrated(fired, analysis, None, None, None, None, analysis.why_none)

    tell("")
    tell(f"3. Verify: {pairs[1]} fresh pairs with the offset on.")
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
    kept = _keep(client, rig_path, rig, analysis, verification, (fired.path, fresh.path))
    files.note.forget()
    return Calibrated(fired, analysis, fresh, fresh_analysis, verification, kept, None)


def _plugs_wrong(plugs: Fired) -> str | None:
    """What the pair fired far apart showed to be wrong, or None."""
    from coincide.session.file import read_session

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


def show_calibrated(done: Calibrated, *, as_json: bool) -> None:
    """Predicted beside obtained, and where everything is."""
    from coincide.report.json.series import session_json, verification_json
    from coincide.report.words.series import verified

    if as_json:
        print_json(
            {
                "format": "coincide-calibration-result",
                "version": 1,
                "measured": None
                if done.analysis is None
                else session_json(done.analysis, done.measured.path),
                "fresh": None
                if done.fresh is None or done.fresh_analysis is None
                else session_json(done.fresh_analysis, done.fresh.path),
                "verification": None if done.verification is None else verification_json(done.verification),
                "calibration": done.kept,
                "why_not_kept": done.why_not,
            }
        )
        return
    suggestion = None if done.analysis is None else done.analysis.suggestion
    if done.analysis is not None and suggestion is not None and done.verification is not None:
        for line in verified(done.analysis.measured.rig, suggestion, done.verification):
            say(line)
    if done.kept is not None:
        say(f"Kept as {done.kept}, and in the box as a preset for this pair of shutter times.")
    else:
        say(f"No calibration was kept: {done.why_not}")
    if done.fresh_analysis is not None and done.fresh is not None:
        say(f"Look at it: coincide report {done.measured.path} --fresh {done.fresh.path}")
    else:
        say(f"Every edge is kept in {done.measured.path}")


def _keep(
    client: BoxClient,
    rig_path: Path,
    rig: Rig,
    analysis: Analysis,
    verification: Verification,
    sessions: tuple[Path, Path],
) -> Path:
    """Write the calibration beside the rig, and its preset into the box."""
    from coincide.rig.calibration import calibrations_beside, read_calibration, save_calibration

    calibration = _calibration(client, rig, analysis, verification, sessions)
    # A run that was broken off after this step, and is gone on with, finds its calibration there.
    there = [
        one.path
        for one in calibrations_beside(rig_path)[0]
        if one.calibration.sessions == calibration.sessions
    ]
    kept = there[0] if there else save_calibration(rig_path, calibration)
    _say_if_set_back(read_calibration(kept))
    store_preset(client, rig, calibration)
    return kept


def _say_if_set_back(calibration: Calibration) -> None:
    if (calibration.rank - datetime.fromisoformat(calibration.created)).total_seconds() > CLOCK_NOTICED_S:
        aside(
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
    from coincide.rig import calibration as kept
    from coincide.timing.shutter.mid_exposure import learn

    suggestion, measured = analysis.suggestion, analysis.measured
    assert suggestion is not None
    return kept.Calibration(
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
        verification=kept.Verification(
            shots=verification.pairs,
            keepers=verification.keepers,
            centre_s=verification.centre_s,
            centre_interval_s=verification.centre_interval_s,
            jitter_s=verification.jitter_s,
            keepers_interval=verification.share_interval,
            passed=verification.agrees,
        ),
        learned=tuple(one for one in learn(measured.shots, rig) if one is not None),
        rig=kept.timing_keys(rig),
    )


def _silent(sentence: str) -> None:
    """For --json: the sentences are in the object."""


def store_preset(client: BoxClient, rig: Rig, calibration: Calibration) -> None:
    """Into the place of the same name, else the first empty one; and in use from now on."""
    from coincide.timing.offset.preset import box_preset
    from coincide_firmware.app.settings import PRESETS_MOST

    preset = box_preset(rig, calibration)
    names = [*client.identify().presets]
    names += [None] * (PRESETS_MOST - len(names))
    if preset["name"] not in names and None not in names:
        raise BoxFailed(
            f"The calibration is kept, but the box holds {PRESETS_MOST} presets already: free a place with "
            "'coincide box settings --forget NAME', then store it with 'coincide box settings --store'."
        )
    place = names.index(preset["name"] if preset["name"] in names else None)
    client.put_preset(place, preset)
    client.put_settings(
        {
            "preset": place,
            "manual_wind": int(any(body.wind == "manual" for body in rig.both)),
            "lead_ms": round(rig.release.lead_s * 1e3),
            "closure_ms": round(rig.release.closure_s * 1e3),
            "window_ms": rig_plan(rig).window_ns // 1_000_000,
        }
    )
