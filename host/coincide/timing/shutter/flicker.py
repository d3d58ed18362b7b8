"""A lamp on the mains over the gates: found, named by its frequency, its exposures put together again.

Light that goes out 100 or 120 times a second chops an exposure at a gate sensor into flashes. The darks between them
are the lamp's, not the shutter's: their middles lie a whole number of half periods apart, on whichever gate sensor
they are seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import stats

from coincide.session.model import Session
from coincide.session.rules import EdgeRules
from coincide.timing.budget.part import rectangular
from coincide.timing.finding import Finding
from coincide.timing.shutter.mid_exposure import BodyMid, MidExposures
from coincide.timing.shutter.sensors import MAINS_HZ, flicker_hz

Floats = npt.NDArray[np.float64]

REMEDY = "light the gates with a lamp on direct current: a torch, or a panel on its battery"
ROOM = 1.25  # darks are taken for the lamp's up to so much longer than the usual one
SHORTEST_S = 0.0005  # a shorter dark is a sensor that chatters at its threshold
UNSTEADY = 0.05  # robust deviation of a shutter's exposure, relative, from which it is spoken of
LEAST_EXPOSURES = 8


@dataclass(frozen=True, slots=True)
class Flicker:
    """hz: 100 or 120, twice the mains'. dark_s: how long the light is out each time, at the sensors' thresholds.
    pairs: in how many it was seen."""

    hz: float
    dark_s: float
    pairs: int


def find_flicker(session: Session, rules: tuple[EdgeRules, EdgeRules]) -> Flicker | None:
    """What the gate sensors' edges show of a flickering lamp, or None.

    An exposure that fits between two darks shows nothing; there `notice_unsteady` is what is left.
    """
    edges, names = session.edges, session.header.channels
    to_s = 1.0 / session.header.tick_hz
    middles: list[Floats] = []
    lengths: list[Floats] = []
    rows: list[npt.NDArray[np.int64]] = []
    for channel, name in enumerate(names):
        if name[:6] not in ("gate_a", "gate_b"):  # a session file may name its channels as it likes
            continue
        at = np.flatnonzero(edges.channel == channel)
        row, tick = edges.row[at], edges.tick[at]
        # A dark lies between an edge to 0 and the next to 1 in the same pair.
        ends = (
            np.flatnonzero((edges.level[at][1:] == 1) & (edges.level[at][:-1] == 0) & (row[1:] == row[:-1]))
            + 1
        )
        dark = (tick[ends] - tick[ends - 1]) * to_s
        shortest_s = max(rules["ab".index(name[5])].gate_chatter_s, SHORTEST_S)
        kept = (dark > shortest_s) & (dark < 1.0 / min(MAINS_HZ))
        first = tick[ends[kept]] - tick[ends - 1][kept]
        middles.append(np.asarray((tick[ends[kept]] - 0.5 * first) * to_s, dtype=np.float64))
        lengths.append(np.asarray(dark[kept], dtype=np.float64))
        rows.append(row[ends[kept]])
    if not rows or sum(each.size for each in rows) < 2:
        return None
    row, middle, dark = np.concatenate(rows), np.concatenate(middles), np.concatenate(lengths)
    order = np.lexsort((middle, row))
    found = flicker_hz(middle[order], row[order])
    if found is None:
        return None
    return Flicker(found, float(np.median(dark)), int(np.unique(row).size))


def rules_under(flicker: Flicker, rules: tuple[EdgeRules, EdgeRules]) -> tuple[EdgeRules, EdgeRules]:
    """Rules under which the flashes of one exposure count as one: darks as short as the lamp's do not end it."""
    bridged = min(ROOM * flicker.dark_s, 0.95 / flicker.hz)
    first, second = (replace(rule, gate_chatter_s=max(rule.gate_chatter_s, bridged)) for rule in rules)
    return first, second


def with_flicker(mids: MidExposures, flicker: Flicker) -> MidExposures:
    """The same with the lamp's part in what is uncertain.

    An edge that falls into a dark is seen up to `dark_s` wrong, opening late or closing early: the middle by half of
    that either way, the exposure by all of it.
    """
    name = f"lamp flickering at {flicker.hz:.0f} Hz"
    of_mid, of_exposure = (rectangular(name, half * flicker.dark_s, REMEDY) for half in (0.5, 1.0))

    def widened(body: BodyMid) -> BodyMid:
        if body.how != "gate":
            return body
        return replace(body, parts=(*body.parts, of_mid), exposure_parts=(*body.exposure_parts, of_exposure))

    return MidExposures((widened(mids.bodies[0]), widened(mids.bodies[1])))


def notice_flicker(flicker: Flicker) -> Finding:
    """The sentence and its advice."""
    return Finding(
        "flicker",
        None,
        f"The lamp over the gates flickers at {flicker.hz:.0f} Hz, as a lamp on {flicker.hz / 2:.0f} Hz mains does: it "
        f"is dark for {flicker.dark_s * 1e3:.1f} ms each time, and the sensors saw that in {flicker.pairs} pairs.",
        f"Measure again and {REMEDY}. Until then the uncertainty contains it.",
        {"hz": flicker.hz, "dark_s": flicker.dark_s, "pairs": float(flicker.pairs)},
    )


def notice_unsteady(exposure_s: Floats, who: str, letter: str) -> Finding | None:
    """An exposure that varies more than a shutter's: (n,), NaN where not measured. What a flickering lamp does to
    exposures too short to show its darks."""
    seen = exposure_s[np.isfinite(exposure_s)]
    if seen.size < LEAST_EXPOSURES:
        return None
    middle = float(np.median(seen))
    spread = float(stats.median_abs_deviation(seen, scale="normal")) / middle
    if spread < UNSTEADY:
        return None
    return Finding(
        "unsteady exposure",
        letter,
        f"The exposure of {who} varies by {spread:.0%} from shot to shot at the gate.",
        f"A lamp on the mains does that to short exposures: {REMEDY}. If it stays, the shutter needs exercise or care.",
        {"relative_spread": spread},
    )
