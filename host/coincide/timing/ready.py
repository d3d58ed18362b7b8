"""Is today's rig still what was calibrated? A sequential test of equivalence.

    shift    of the skew's centre since the calibration, offset on. 'Ready' only when a shift of half the
    tolerance
             is ruled out; an alarm only when one of a quarter tolerance is.
    how      at every shot the likelihoods of the two shifts are compared (Wald's sequential test), the
             calibration's own uncertainty in both. Stopping at a ratio of 1/ERROR either way keeps each
             error below ERROR however early it stops (Ville's inequality); what is still open after the
             last planned shot goes to the likelier side.
    jitter   against the calibration's, once, when the shift is decided, by the mean absolute deviation, whose square
             is near a chi-squared's part with 1/(pi - 2) of the degrees of freedom (Fisher 1920, memory): a far shot
             of a heavy tail counts once and not squared.
    order    shots that depend on their order do not decide: the skew moves while it is tested (timing/order.py).

What this does in fact is in docs/ready.md, by simulation. Everything assumes only that shots scatter about
a centre with the calibration's kind of jitter; the mean of ten and more shots is near normal for polling
bodies too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy import stats

from coincide.errors import BadInput
from coincide.rig.calibration import Calibration
from coincide.timing.order import order_p

Floats = npt.NDArray[np.float64]
ORDERED = (
    "The skew moves while it is tested: neighbouring pairs are alike. Let both bodies come to rest or warm up, and try "
    "again; if it goes on, calibrate anew at this pace."
)
Verdict = Literal["ready", "touch up", "not ready", "go on"]

REFUSED = 0.5  # of the tolerance: a shift that must not pass as ready
HARMLESS = 0.25  # of the tolerance: a shift that must not raise an alarm
ERROR = 0.025  # of each kind, for the shift; 5 % is promised, the rest is for what is not quite known
JITTER_ALARM = 0.0185
ORDER_ALARM = 0.005  # chance that a steady rig is sent back because its shots seem to depend on their order
JITTER_POWER = 0.82  # 80 % is promised
OF_ABSOLUTES = 1.0 / (np.pi - 2.0)
STRAY = 5.0  # calibrated jitters from the others at which one shot alone is a stray
DOUBLED = 2.0
LEAST = 5
MOST_LOST = (
    0.1  # of all pairs: the promised keepers that a narrower tolerance may cost before it is another promise
)
LONGEST = 2.0  # times the shots a test of fixed length would take

GO_ON, READY, TOUCH_UP, NOT_READY = 0, 1, 2, 3
VERDICTS: tuple[Verdict, ...] = ("go on", "ready", "touch up", "not ready")


@dataclass(frozen=True, slots=True)
class Calibrated:
    """What the calibration knows; seconds. type_a_s: standard uncertainty of its centre. type_b_s: standard
    uncertainty that the fresh shots do not share with it (0 with the same sensors in the same places)."""

    tolerance_s: float
    jitter_s: float
    shots: int
    type_a_s: float
    type_b_s: float = 0.0

    @property
    def u_s(self) -> float:
        return float(np.hypot(self.type_a_s, self.type_b_s))


def from_calibration(
    kept: Calibration, how_now: str | None = None, *, tolerance_s: float | None = None
) -> Calibrated:
    """What a stored calibration knows. With the sensors it was made with (`how_now` as its `how`, or None)
    their systematic errors cancel and only its shots count; with others, all of its interval does.
    tolerance_s: the rig's of today; by default the one of the day it was made."""
    type_a = kept.jitter_s / np.sqrt(kept.shots)
    whole = (kept.interval_s[1] - kept.interval_s[0]) / (2.0 * 1.96)
    other = how_now is not None and how_now != kept.how
    type_b = float(np.sqrt(max(whole**2 - type_a**2, 0.0))) if other else 0.0
    tolerance = kept.tolerance_s if tolerance_s is None else tolerance_s
    return Calibrated(tolerance, kept.jitter_s, kept.shots, float(type_a), type_b)


def promise_lost(kept: Calibration, tolerance_s: float) -> str | None:
    """Why a calibration made for a wider tolerance promises too little for the rig's of today, or None.

    A shift of the centre can be ruled out however many pairs the jitter alone throws out of tolerance.
    """
    share = 2.0 * float(stats.norm.cdf(tolerance_s / kept.jitter_s)) - 1.0 if kept.jitter_s > 0 else 1.0
    if tolerance_s >= kept.tolerance_s or share >= kept.expected_keepers - MOST_LOST:
        return None
    return (
        f"the rig's tolerance is {tolerance_s * 1e3:.2g} ms now and was {kept.tolerance_s * 1e3:.2g} ms when it was "
        f"calibrated: of {kept.expected_keepers:.0%} of pairs within tolerance about {share:.0%} are left. Calibrate "
        "again at this tolerance, or widen it."
    )


@dataclass(frozen=True, slots=True)
class ReadyPlan:
    """How many shots the test takes. `least` before it may stop, `usual` a test of fixed length, `most` at
    which it ends; a first shot after a rest comes on top. `impossible`: why this calibration cannot answer,
    or None."""

    least: int
    usual: int
    most: int
    impossible: str | None


@dataclass(frozen=True, slots=True)
class Readiness:
    """The verdict so far, and why in a sentence. shift_s and its 95 % interval, calibration's uncertainty
    included. touch_up_s: what to add to the signed offset (0 unless 'touch up'). jitter_ratio: fresh over
    calibrated. shots: used, first shot left out. more: shots the test may still take."""

    verdict: Verdict
    why: str
    shift_s: float
    shift_interval_s: tuple[float, float]
    touch_up_s: float
    jitter_ratio: float
    shots: int
    missed: int
    more: int


def plan_ready(calibrated: Calibrated) -> ReadyPlan:
    """Shots needed for this rig's jitter. Raises BadInput where the calibration holds no scatter or
    tolerance."""
    if not (calibrated.tolerance_s > 0 and calibrated.jitter_s > 0 and calibrated.shots > 2):
        raise BadInput("The calibration has no tolerance, no jitter or too few shots: calibrate again.")
    least = max(LEAST, _shots_for_jitter(calibrated.shots))
    apart = (REFUSED - HARMLESS) * calibrated.tolerance_s
    needed_u = apart / (2.0 * float(stats.norm.ppf(1.0 - ERROR)))
    left = needed_u**2 - calibrated.u_s**2
    # A calibration that takes more than nine tenths of the room leaves the fresh shots hardly any.
    if left <= 0.19 * needed_u**2:
        return ReadyPlan(
            least,
            least,
            least,
            f"the calibration's own uncertainty of {calibrated.u_s * 1e3:.2g} ms is too large for a tolerance of "
            f"{calibrated.tolerance_s * 1e3:.2g} ms; calibrate again with more pairs.",
        )
    usual = max(least, int(np.ceil(calibrated.jitter_s**2 / left)))
    return ReadyPlan(least, usual, int(np.ceil(LONGEST * usual)), None)


def judge_ready(calibrated: Calibrated, skew_s: Floats, *, first_left_out: bool = True) -> Readiness:
    """Judge the shots fired so far: skews (n,), seconds, offset on, NaN where a body did not answer.

    Call it after every shot until the verdict is not 'go on'. The first shot after a rest is left out.
    """
    plan = plan_ready(calibrated)
    counted = np.asarray(skew_s, dtype=np.float64)[1 if first_left_out else 0 :]
    missed = int(np.sum(~np.isfinite(counted)))
    fresh = counted[np.isfinite(counted)][: plan.most]
    shift, interval, ratio = _estimates(calibrated, fresh)
    verdict: Verdict = "go on"
    if plan.impossible is not None:
        verdict = "not ready"
    elif fresh.size:
        codes = running_verdicts(calibrated, fresh[None, :])[0]
        decided = np.flatnonzero(codes != GO_ON)
        if decided.size:
            # What came after the decision does not undo it: that is what keeps the error rates.
            used = int(decided[0]) + 1
            verdict = VERDICTS[int(codes[decided[0]])]
            shift, interval, ratio = _estimates(calibrated, fresh[:used])
            fresh = fresh[:used]
    ordered = verdict in ("ready", "touch up") and order_p(fresh) < ORDER_ALARM
    if ordered or (missed and verdict in ("ready", "touch up")):
        verdict = "not ready"
    return Readiness(
        verdict=verdict,
        why=ORDERED
        if ordered and not missed
        else _why(verdict, plan, calibrated, fresh, shift, ratio, missed),
        shift_s=shift,
        shift_interval_s=interval,
        touch_up_s=shift if verdict == "touch up" else 0.0,
        jitter_ratio=ratio,
        shots=int(fresh.size),
        missed=missed,
        more=max(plan.most - fresh.size, 0) if verdict == "go on" else 0,
    )


def running_verdicts(calibrated: Calibrated, skew_s: Floats) -> npt.NDArray[np.int8]:
    """Verdict codes after each shot for many tries at once: skews (tries, n) -> codes (tries, n).

    A code counts only up to the first that is not GO_ON. Column k has seen k + 1 shots.
    """
    plan = plan_ready(calibrated)
    count = np.arange(1, skew_s.shape[1] + 1)
    mean = np.cumsum(skew_s, axis=1) / count
    squares = np.maximum(np.cumsum(skew_s**2, axis=1) - count * mean**2, 0.0)
    known = calibrated.shots - 1
    pooled = (known * calibrated.jitter_s**2 + squares) / (known + count - 1)
    variance = pooled / count + calibrated.u_s**2
    harmless, refused = HARMLESS * calibrated.tolerance_s, REFUSED * calibrated.tolerance_s
    # log likelihood ratio of a shift `refused` over one `harmless`, on the side where the shots lie
    ratio = (refused - harmless) * (np.abs(mean) - (refused + harmless) / 2.0) / variance
    limit = float(np.log(1.0 / ERROR))
    last = count >= plan.most
    moved = (ratio >= limit) | (last & (ratio >= 0.0))
    steady = (ratio <= -limit) | (last & (ratio < 0.0))
    code = np.where(moved, TOUCH_UP, np.where(steady, READY, GO_ON))
    code = np.asarray(np.where(count >= plan.least, code, GO_ON), dtype=np.int8)
    # The jitter is looked at once, when the shift is decided.
    decided = np.argmax(code != GO_ON, axis=1)
    for column in np.unique(decided):
        tries = np.flatnonzero((decided == column) & (code[:, column] != GO_ON))
        if tries.size and column:
            bound = stats.f.ppf(1.0 - JITTER_ALARM, OF_ABSOLUTES * column, known)
            shaky = spreads(skew_s[tries, : column + 1]) ** 2 > bound * calibrated.jitter_s**2
            code[tries[shaky], column] = NOT_READY
    return code


def spreads(skew_s: Floats) -> Floats:
    """Spread of each row (tries, n) about its mean by mean absolute deviation, as a normal's standard deviation;
    (tries,), n >= 2."""
    count = skew_s.shape[1]
    off = np.abs(skew_s - skew_s.mean(axis=1, keepdims=True)).mean(axis=1)
    return np.asarray(off * np.sqrt(0.5 * np.pi * count / (count - 1.0)), dtype=np.float64)


def shots_it_takes(plan: ReadyPlan) -> str:
    """What the test will take with this rig's jitter, the first shot after a rest included; a sentence."""
    pairs = f"{plan.least + 1} to {plan.most + 1} pairs"
    return f"With this rig's jitter it takes {pairs}: it stops as soon as the answer is clear."


def frames_to_spend(plan: ReadyPlan) -> tuple[str, ...]:
    """What the test costs with film loaded, and the ways round it; a sentence each."""
    return (
        f"With film loaded the test spends {plan.least + 1} to {plan.most + 1} frames in each body.",
        "Do it before loading, or on the leader frames that are wound off anyway.",
        "Or judge the last real frames: the box's frame log has the skew of each.",
    )


def _shots_for_jitter(calibrated_shots: int) -> int:
    """Fewest shots at which doubled jitter is noticed with JITTER_POWER by the F test at JITTER_ALARM."""
    count = np.arange(3, 400)
    bound = stats.f.ppf(1.0 - JITTER_ALARM, count - 1, calibrated_shots - 1)
    power = stats.f.sf(bound / DOUBLED**2, count - 1, calibrated_shots - 1)
    enough = np.flatnonzero(power >= JITTER_POWER)
    return int(count[enough[0]]) if enough.size else int(count[-1])


def _stray(calibrated: Calibrated, fresh: Floats) -> float | None:
    """How far one shot lies from the others where it alone makes them seem shaky, seconds."""
    if fresh.size <= LEAST:
        return None
    away = fresh - np.median(fresh)
    farthest = int(np.argmax(np.abs(away)))
    others = np.delete(fresh, farthest)
    stray_s = float(fresh[farthest] - others.mean())
    bound = float(stats.f.ppf(1.0 - JITTER_ALARM, OF_ABSOLUTES * (others.size - 1), calibrated.shots - 1))
    if (
        abs(stray_s) < STRAY * calibrated.jitter_s
        or float(spreads(others[None, :])[0]) ** 2 > bound * calibrated.jitter_s**2
    ):
        return None
    return stray_s


def _estimates(calibrated: Calibrated, fresh: Floats) -> tuple[float, tuple[float, float], float]:
    """Shift, its 95 % interval and the jitter ratio."""
    if fresh.size < 2:
        return (float(fresh[0]) if fresh.size else float("nan")), (-np.inf, np.inf), float("nan")
    spread = float(np.std(fresh, ddof=1))
    known = calibrated.shots - 1
    pooled = np.sqrt(
        (known * calibrated.jitter_s**2 + (fresh.size - 1) * spread**2) / (known + fresh.size - 1)
    )
    u = float(np.hypot(pooled / np.sqrt(fresh.size), calibrated.u_s))
    reach = float(stats.t.ppf(0.975, known + fresh.size - 1)) * u
    shift = float(np.mean(fresh))
    return shift, (shift - reach, shift + reach), spread / calibrated.jitter_s


def _why(
    verdict: Verdict,
    plan: ReadyPlan,
    calibrated: Calibrated,
    fresh: Floats,
    shift_s: float,
    ratio: float,
    missed: int,
) -> str:
    """The verdict's reason in a sentence."""
    shots = fresh.size
    tolerance, shift = f"{calibrated.tolerance_s * 1e3:.2g} ms", f"{shift_s * 1e3:+.2f} ms"
    if plan.impossible is not None:
        return f"It cannot be told, because {plan.impossible}"
    if verdict == "go on":
        return f"{shots} shots do not decide it yet; {plan.usual} are usual for this jitter, {plan.most} the most."
    if missed:
        return f"{missed} of the pairs had no answer from one of the bodies, or no light at its gate."
    if verdict == "ready":
        return (
            f"A shift of half the tolerance of ±{tolerance} is ruled out after {shots} shots; found {shift}."
        )
    if verdict == "touch up":
        return f"The skew's centre has moved by {shift} of a tolerance of {tolerance}; add it to the offset."
    stray_s = _stray(calibrated, fresh)
    if stray_s is not None:
        return (
            f"One of {shots} pairs lay {stray_s * 1e3:+.2g} ms from the others, which scatter as calibrated: a stray, "
            "no jitter. Look whether both bodies were wound and steady, and try again; if it comes again, calibrate "
            "anew."
        )
    return (
        f"The jitter is {ratio:.1f} times the calibrated one: look for weak batteries, a sticking plunger or a "
        "shutter that has not been exercised."
    )
