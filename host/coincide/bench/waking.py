"""Whether half-press leads by enough for each body, before a whole series is spent on one that sleeps.

The pair that shows the plugs is fired with a longer lead, which costs no release; the first pairs of the series, with
the usual one, are compared with it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from coincide.bench.firing import Fired
from coincide.rig.model import Rig
from coincide.session.file import read_session
from coincide.timing.analysis import Measured, measure
from coincide.timing.bodies.waking import Asleep, asleep

LONGER_S = 0.5  # a body seldom takes longer to wake than this and the usual lead together; common practice, no source
LONGEST_LEAD_S = 2.0  # of the box
PAIRS = 8  # a lag in two humps is late in all of them by chance once in some hundred series


def longer_by_s(rig: Rig) -> float:
    """How much longer half-press leads in the pair that shows the plugs."""
    return max(min(LONGER_S, LONGEST_LEAD_S - rig.release.lead_s), 0.0)


@dataclass(frozen=True, slots=True)
class Waking:
    """What the pair with the longer lead says. lag_s: of A and B, NaN where a body did not answer."""

    rig: Rig
    lag_s: tuple[float, float]
    longer_by_s: float

    def sleepers(self, series: Measured | None) -> tuple[Asleep, ...]:
        """The bodies that the series, so far as it has come, shows to sleep; none while it is too short to tell."""
        if series is None or series.answered < PAIRS:
            return ()
        each = (
            asleep(body, series.lag_s[:, body], self.lag_s[body], self.longer_by_s)
            for body, part in enumerate(self.rig.both)
            if part.release == "half+full"
        )
        return tuple(one for one in each if one is not None)


def waking(rig: Rig, plugs: Fired) -> Waking:
    """From the pair fired with the longer lead."""
    lag_s = measure(read_session(plugs.path)).lag_s
    last = (float(lag_s[-1, 0]), float(lag_s[-1, 1])) if len(lag_s) else (math.nan, math.nan)
    return Waking(rig, last, longer_by_s(rig))


def waking_sentence(rig: Rig, found: tuple[Asleep, ...]) -> str:
    """What the sleepers need, as the person would write it into the rig file."""
    now_ms = 1e3 * rig.release.lead_s
    parts = [
        f"{rig.both[one.body].name} ({'AB'[one.body]}) needs {'more than ' if one.at_least else 'about '}"
        f"{now_ms + 1e3 * one.missing_s:.0f} ms of half-press and gets {now_ms:.0f} ms"
        for one in found
    ]
    most_ms = max(now_ms + 1e3 * one.missing_s for one in found)
    lead_ms = min(100 * math.ceil(most_ms * 1.25 / 100), 1000 * LONGEST_LEAD_S)
    return (
        f"{'; '.join(parts)}: it fires when it is awake, whatever full-press does, and no offset would change that. "
        f'Lengthen the half-press lead: lead = "{lead_ms:.0f} ms" under [release]. Then calibrate again'
    )
