"""The frames of the day's log judged against a calibration: which of them count, and as what.

newest first    the sequential test begins at the last frame and goes back: today's rig is the question
one start       only frames since the box was last switched on; what came before is another day
one offset      each skew is brought to the calibrated offset, whatever delay the box then had on
as they were    a damaged entry or one that could not be measured says nothing of the bodies
missed          a frame without an answer or without light is named and counted; how many are too many is the
                binomial of the calibration, whose pairs all had their answer, which leaves a share of misses that is
                known only as well as they were many (beta-binomial, Jeffreys' prior)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from coincide.rig.calibration import Calibration
from coincide.session.frames import Frame, rests_s
from coincide.timing.offset.series import after_rest
from coincide.timing.ready import ERROR, Readiness, from_calibration, judge_ready, plan_ready

FIELD_SENSORS = "sync+sync"  # with film in the bodies no sensor sits at the gate
SILENT = {
    "no_answer_a": "no answer from A",
    "no_answer_b": "no answer from B",
    "no_answer_both": "no answer from either",
    "black_a": "no light in A",
    "black_b": "no light in B",
    "black_both": "no light in either",
}
MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class JudgedFrames:
    """readiness: None where no frame counts. why: the reason, and what the frames had on. counted: frames since the
    last start of the box that could be judged; first shots after a rest are not among them."""

    readiness: Readiness | None
    why: str
    counted: int


def judge_frame_log(kept: Calibration, tolerance_s: float, frames: Sequence[Frame]) -> JudgedFrames:
    """Judge the frames of a log, in the log's order, by the rig's tolerance in seconds."""
    calibrated = from_calibration(kept, FIELD_SENSORS, tolerance_s=tolerance_s)
    rested = after_rest(len(frames), rests_s(frames))
    last_start = frames[-1].boot if frames else 0
    today = [
        frame
        for frame, first in zip(frames, rested, strict=True)
        if frame.boot == last_start and frame.preset == kept.preset and not first and _says_something(frame)
    ]
    if not today:
        return JudgedFrames(None, _none(frames, kept), 0)
    on_s = np.array([frame.delay_a_s - frame.delay_b_s for frame in today])
    natural_s = np.array([frame.skew_s for frame in today]) + on_s
    newest_first = (natural_s - kept.offset_s)[::-1]
    seen = np.flatnonzero(np.isfinite(newest_first))[: plan_ready(calibrated).most]
    looked_at = today[::-1][: int(seen[-1]) + 1 if seen.size else len(today)]
    missed = [frame for frame in looked_at if frame.verdict in SILENT]
    found = replace(judge_ready(calibrated, newest_first[seen], first_left_out=False), missed=len(missed))
    away_s = float(on_s[-1]) - kept.offset_s
    why = found.why
    if found.verdict == "go on":
        why = f"{why} Only frames since the box was last switched on count."
    if missed:
        chance = chance_of_missing(kept, len(missed), len(looked_at))
        said = _missed_sentence(missed, len(looked_at), chance)
        if chance < ERROR and found.verdict in ("ready", "touch up"):
            found, why = replace(found, verdict="not ready", touch_up_s=0.0), said
        else:
            why = f"{why} {said}"
    # A box rounds a delay to its tick; anything a person could have set is far above a hundredth of a tolerance.
    if abs(away_s) > 0.01 * tolerance_s:
        said = (
            f"The box had {_side(on_s[-1])} on, and the calibration says {_side(kept.offset_s)}: the frames were "
            "judged as they would be with the calibrated offset."
        )
        why = f"{why} {said}"
        if found.verdict == "ready":
            found = replace(found, verdict="not ready")
            why = f"The bodies are as calibrated, but {said[0].lower()}{said[1:]} Put the calibrated offset on the box."
    return JudgedFrames(found, why, len(today))


def chance_of_missing(kept: Calibration, missed: int, frames: int) -> float:
    """Chance that so many frames, or more, are missed by bodies that answer as when they were calibrated: every pair
    that counted then had its answer."""
    answered = kept.shots + (0 if kept.verification is None else kept.verification.keepers)
    return float(stats.betabinom.sf(missed - 1, frames, 0.5, answered + 0.5))


def _missed_sentence(missed: Sequence[Frame], frames: int, chance: float) -> str:
    named = [
        f"{'log entry' if frame.frame is None else 'frame'} "
        f"{frame.entry if frame.frame is None else frame.frame}: {SILENT[frame.verdict]}"
        for frame in missed[:MOST_NAMED]
    ]
    more = f", and {len(missed) - MOST_NAMED} more" if len(missed) > MOST_NAMED else ""
    odds = f"{100 * chance:.0f} %" if chance >= ERROR else f"{100 * chance:.1g} %"
    usual = f"of bodies that answer as when they were calibrated {odds} of rolls have so many or more"
    if chance < ERROR:
        usual += ". Look whether they are wound, awake and free to open"
    return f"{len(missed)} of {frames} frames missed ({'; '.join(named)}{more}); {usual}."


def _says_something(frame: Frame) -> bool:
    return bool(np.isfinite(frame.skew_s)) or frame.verdict in SILENT


def _none(frames: Sequence[Frame], kept: Calibration) -> str:
    if not frames:
        return "Not ready: the frame log is empty."
    others = sorted({frame.preset for frame in frames if frame.boot == frames[-1].boot} - {kept.preset, ""})
    shot = f"; they were shot with {', '.join(others)}" if others else ""
    return (
        f"Not ready: no frame since the box was last switched on can be judged for {kept.preset}{shot}. "
        "The first after a rest does not count."
    )


def _side(offset_s: float) -> str:
    side = "A" if offset_s >= 0 else "B"
    return f"{side} {abs(offset_s) * 1e3:.2f} ms"
