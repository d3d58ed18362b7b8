"""Whether the bodies answered, and what their contacts did: misses, bounces, extra triggers, swapped
plugs."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from coincide.session.model import BODIES, Shots
from coincide.timing.finding import Finding

Floats = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

LEAST_SILENT = 3  # shots without an answer at the end before a body counts as having stopped
MOST_MISSES = 0.02  # share of bounces, flicks or extras below which they are counted but not spoken of


def notice_answers(
    shots: Shots, mid_s: Floats, names: tuple[str, str], winds: tuple[str, str]
) -> tuple[Finding, ...]:
    """Findings about answers. mid_s (n, 2), NaN where a body did not answer; `winds` as in the rig."""
    findings: list[Finding] = []
    swapped = _swapped(shots, mid_s, names)
    if swapped is not None:
        return (swapped,)
    for index in (0, 1):
        who = f"{names[index]} ({BODIES[index]})"
        answered = np.isfinite(mid_s[:, index])
        findings += _silence(shots, answered, who, BODIES[index], winds[index])
        findings += _contacts(shots, index, who)
    if int(shots.lost.sum()):
        rows = int(np.sum(shots.lost > 0))
        findings.append(
            Finding(
                "lost edges",
                None,
                f"{int(shots.lost.sum())} edges in {rows} pairs came faster than the box could keep.",
                "Look for a contact that chatters or a sensor at its threshold; leave those pairs out.",
                {"edges": float(shots.lost.sum()), "pairs": float(rows)},
            )
        )
    return tuple(findings)


def _silence(shots: Shots, answered: Flags, who: str, letter: str, wind: str) -> list[Finding]:
    rows = answered.size
    silent = np.flatnonzero(~answered)
    if silent.size == 0 or rows == 0:
        return []
    not_wound = (
        "It was probably not wound on" if wind == "manual" else "Check its battery and its release lead"
    )
    if silent.size == rows:
        return [
            Finding(
                "never answered",
                letter,
                f"{who} answered none of {rows} pairs.",
                f"{not_wound}; check that its plugs sit in its own sockets and that its sensor sees light.",
                {"missed": float(rows)},
            )
        ]
    last = int(np.flatnonzero(answered)[-1])
    quiet_end = rows - 1 - last
    if quiet_end >= LEAST_SILENT:
        number = int(shots.number[last])
        return [
            Finding(
                "stopped answering",
                letter,
                f"{who} stopped answering after shot {number}: {quiet_end} pairs in a row without it.",
                f"{not_wound}; look whether its film or counter has come to an end, or its plug has come out. "
                "What was measured before is kept.",
                {"last_shot": float(number), "missed": float(silent.size)},
            )
        ]
    which = ", ".join(str(int(n)) for n in shots.number[silent[:6]]) + (", ..." if silent.size > 6 else "")
    plural = "shot" if silent.size == 1 else "shots"
    return [
        Finding(
            "missed",
            letter,
            f"{who} did not answer {plural} {which} ({silent.size} of {rows}).",
            f"{not_wound}; a longer closure of the release helps a body that looks at it seldom.",
            {"missed": float(silent.size), "pairs": float(rows)},
        )
    ]


def _contacts(shots: Shots, index: int, who: str) -> list[Finding]:
    rows = max(shots.number.size, 1)
    kinds = (
        (
            "bounce",
            shots.bounces,
            "bounced in",
            "The first closing counts, so nothing is lost; clean the contact if it grows.",
        ),
        (
            "early flick",
            shots.flicks,
            "closed too early or too briefly to be an exposure in",
            "Those edges are kept and not counted. Mirror slap and winding do this; mirror up if the body has it.",
        ),
        (
            "extra trigger",
            shots.extras,
            "closed again well after its exposure in",
            "Look whether its counter moved by one or by two. By two: it fires again, so set single drive and a "
            "shorter closure of the release. By one: the contact chatters as it winds on, which does no harm.",
        ),
    )
    found = []
    for code, counts, did, advice in kinds:
        pairs = int(np.sum(counts[:, index] > 0))
        if pairs > MOST_MISSES * rows or (code == "extra trigger" and pairs):
            say = f"The sync contact of {who} {did} {pairs} of {rows} pairs."
            found.append(Finding(code, BODIES[index], say, advice, {"pairs": float(pairs)}))
    return found


def _swapped(shots: Shots, mid_s: Floats, names: tuple[str, str]) -> Finding | None:
    """Plugs exchanged: each body's exposure follows the other's full-press.

    With an offset on that changes, or that is longer than the lags, the mid-exposure in channel A keeps a
    steady distance from full-press B and not from its own. Needs the two presses apart by more than the
    scatter, differently in different pairs; a steady small offset shows nothing, and then nothing is said.
    """
    apart = shots.full_s[:, 1] - shots.full_s[:, 0]
    good = np.isfinite(apart) & np.isfinite(mid_s).all(axis=1)
    if good.sum() < 2 or np.ptp(apart[good]) < 1e-3:
        return None
    own = mid_s[good] - shots.full_s[good]
    other = mid_s[good] - shots.full_s[good][:, ::-1]
    if not np.all(np.std(other, axis=0) < 0.2 * np.std(own, axis=0)):
        return None
    return Finding(
        "swapped plugs",
        None,
        f"{names[0]} (A) answers the release of B and {names[1]} (B) that of A: plugs are swapped.",
        "Exchange either the two release plugs or the two sensor plugs, and fire again.",
        {"own_spread_s": float(np.std(own)), "other_spread_s": float(np.std(other))},
    )
