"""What a series shows of its bodies: each behaviour a sentence naming the body, and what to do about it.

    answers.py   misses, a body that stops, bounces, flicks, extra triggers, swapped plugs
    trends.py    drift, first shot after a rest, the pace of firing
    scatter.py   polling, steps, two humps, outliers: of shots that do not depend on their order

Each test of trends and scatter has a false alarm rate of 1 % for a body that has nothing of the kind.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coincide.session.model import BODIES, Shots
from coincide.timing.bodies.answers import notice_answers
from coincide.timing.bodies.scatter import find_far_out, find_humps, find_polling, find_steps
from coincide.timing.bodies.trends import find_drift, find_first_shot, find_pace, without_drift
from coincide.timing.finding import Finding
from coincide.timing.offset.series import after_rest
from coincide.timing.order import order_p

Floats = npt.NDArray[np.float64]
ALARM = 0.01


def notice(
    shots: Shots,
    mid_s: Floats,
    lag_s: Floats,
    *,
    names: tuple[str, str],
    winds: tuple[str, str] = ("motor", "motor"),
) -> tuple[Finding, ...]:
    """Everything worth saying about a series of n pairs; mid_s, lag_s (n, 2).

    In a watched series there are no full-presses and so no lags: then the skew's trends are told, of no body.
    """
    findings = list(notice_answers(shots, mid_s, names, winds))
    if any(finding.code == "swapped plugs" for finding in findings):
        return tuple(findings)
    for index in (0, 1):
        lag = lag_s[:, index]
        if np.isfinite(lag).any():
            who = f"{names[index]} ({BODIES[index]})"
            findings += notice_times(lag, shots.start_s, shots.rest_s, shots.number, who, BODIES[index])
    skew = mid_s[:, 1] - mid_s[:, 0]
    if not np.isfinite(lag_s).any() and np.isfinite(skew).any():
        findings += notice_times(skew, shots.start_s, shots.rest_s, shots.number, "The skew", None)
    return tuple(findings)


def notice_times(
    lag_s: Floats,
    start_s: Floats,
    rest_s: Floats,
    number: npt.NDArray[np.int64],
    who: str,
    letter: str | None,
) -> tuple[Finding, ...]:
    """Findings about one body's lags (n,), seconds; `who` begins the sentences."""
    subject = who if letter is None else f"The lag of {who}"
    first = after_rest(lag_s.size, rest_s)
    found: list[Finding] = []
    drift = find_drift(np.where(first, np.nan, lag_s), start_s)
    level = lag_s - np.nanmedian(lag_s) if drift is None else without_drift(lag_s, start_s)
    far = find_far_out(np.where(first, np.nan, level))
    quiet = np.where(first, np.nan, level)
    quiet[far] = np.nan
    if drift is not None:
        low, high = sorted(abs(edge) for edge in drift.interval_s)
        later = "later" if drift.change_s > 0 else "earlier"
        found.append(
            Finding(
                "drift",
                letter,
                f"{subject} drifted {_ms(abs(drift.change_s))} {later} over the series "
                f"(95 %: {_ms(low)} to {_ms(high)}).",
                "The offset is for the end of the series. Fire some warm-up frames before you measure and before "
                "you photograph, or put in fresh batteries if it goes on.",
                {
                    "change_s": drift.change_s,
                    "low_s": drift.interval_s[0],
                    "high_s": drift.interval_s[1],
                    "p": drift.p,
                },
            )
        )
    shot = find_first_shot(np.where(first, level, quiet), first)
    if shot is not None:
        late = "later" if shot.late_s > 0 else "earlier"
        found.append(
            Finding(
                "first shot",
                letter,
                f"{subject} was {_ms(abs(shot.late_s))} {late} in the first shot after a rest "
                f"(shot {int(number[shot.row])}; usual is within {_ms(shot.usual_s)}).",
                "Discard the first frame after a rest, or wake the body with a long half-press just before it.",
                {"late_s": shot.late_s, "usual_s": shot.usual_s, "shot": float(number[shot.row])},
            )
        )
    pace = find_pace(quiet, rest_s)
    if pace is not None:
        way = "longer" if pace.slope > 0 else "shorter"
        found.append(
            Finding(
                "interval",
                letter,
                f"{subject} grows {way} with the rest before the shot: {pace.slope * 1e3:.2g} ms for each second "
                f"between {pace.rest_s[0]:.1f} s and {pace.rest_s[1]:.1f} s.",
                "Calibrate at the pace you photograph at, and hold half-press for at least as long as in the series.",
                {"slope": pace.slope, "low": pace.interval[0], "high": pace.interval[1], "p": pace.p},
            )
        )
    return (*found, *_notice_scatter(quiet, np.where(first, np.nan, level), far, number, subject, letter))


def _notice_scatter(
    quiet: Floats,
    level: Floats,
    far: npt.NDArray[np.intp],
    number: npt.NDArray[np.int64],
    subject: str,
    letter: str | None,
) -> list[Finding]:
    found: list[Finding] = []
    # Of shots that depend on their order no histogram tells a cause: a swing is as flat-topped as a clock's ticking,
    # and a step has two humps.
    ordered = order_p(quiet[np.isfinite(quiet)]) < ALARM
    humps = None if ordered else find_humps(level)
    if humps is not None:
        gap = humps.centres_s[1] - humps.centres_s[0]
        return [
            Finding(
                "two humps",
                letter,
                f"{subject} falls in two groups {_ms(gap)} apart; {humps.upper_share:.0%} of shots are late.",
                "Find what differs: half-press held or not, mirror or shutter recocked, a plunger that sticks. "
                "The offset serves the group that keeps most.",
                {"gap_s": gap, "upper_share": humps.upper_share},
            )
        ]
    steps = None if ordered else find_steps(quiet)
    if steps is not None:
        found.append(
            Finding(
                "steps",
                letter,
                f"{subject} repeats in steps of {_ms(steps.step_s)}: the body looks at its release that often.",
                "No offset removes this. It is the body's clock; more shots find the middle, not a narrower scatter.",
                {"step_s": steps.step_s, "sharpness": steps.sharpness},
            )
        )
    polling = None if ordered or steps is not None else find_polling(quiet)
    if polling is not None:
        low, high = polling.interval_s
        found.append(
            Finding(
                "polling",
                letter,
                f"{subject} is spread evenly over {_ms(polling.period_s)} (95 %: {_ms(low)} to {_ms(high)}): "
                "the body looks at its release only that often.",
                "No offset removes this; a tolerance above half the period keeps nearly all, one below it cannot.",
                {"period_s": polling.period_s, "low_s": low, "high_s": high, "p": polling.p},
            )
        )
    if far.size:
        which = ", ".join(str(int(n)) for n in number[far[:6]]) + (", ..." if far.size > 6 else "")
        found.append(
            Finding(
                "outliers",
                letter,
                f"{subject} was far from all others in {'shot' if far.size == 1 else 'shots'} {which} "
                f"(by {_ms(float(np.max(np.abs(level[far]))))} at most).",
                "These shots stay in the table and count as lost keepers; they do not move the offset. Look for a "
                "sticking plunger, a tired battery, or a body that was not quite wound.",
                {"shots": float(far.size)},
            )
        )
    return found


def _ms(value_s: float) -> str:
    return f"{value_s * 1e3:.2g} ms" if abs(value_s) < 0.0995 else f"{value_s * 1e3:.0f} ms"
