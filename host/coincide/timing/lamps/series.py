"""Several pairs of frames of the lamp row: mean skew, lags and exposures, with what is uncertain of them.

Each frame puts opening and closing into one step each (optical.py). Over several pairs the steps' rounding falls
differently every time, so their scatter contains it; it never counts for less than the steps alone would give. A row
comes round again and again: rows of two speeds in one session tell which round it was, the slow one roughly, the
fast one finely.

    exposure   mean of (last - first) steps: right on average, whatever the phase of the row
    skew       difference of the middles, unwrapped from the slowest row to the fastest
    lag        middle after the row's start, less the full-press after it, unwrapped alike
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from coincide.errors import BadInput
from coincide.rig.calibration import Calibration, Learned, timing_keys
from coincide.rig.file import parse_rig
from coincide.rig.model import Rig
from coincide.rig.optics.tolerance import tolerance_s
from coincide.session.lamps import FrameRead, RowRun, frames_of, read_alike_twice, rows_of
from coincide.session.model import BODIES, Session
from coincide.timing.budget.known import known_from
from coincide.timing.budget.quantities import Reported
from coincide.timing.lamps.misread import misread
from coincide.timing.lamps.quantities import exposure_of, lag_of, skew_of, spread
from coincide.timing.lamps.rounds import LampPair, unwrapped, within_round
from coincide.timing.shutter.circuits import isolators_s
from coincide.timing.shutter.optical import LampRow, frame_edges_s

Floats = npt.NDArray[np.float64]

LEAST_TO_KEEP = 5  # pairs before an offset may be kept as a calibration


@dataclass(frozen=True, slots=True)
class LampAnalysis:
    """What the frames of a session show. quantities: skew, lags, exposures. jitter_s: spread of the skew, steps
    included; keepers: share within the tolerance that it lets expect, NaN with one pair. remarks: sentences."""

    rig: Rig
    pairs: tuple[LampPair, ...]
    quantities: tuple[Reported, ...]
    used: int
    jitter_s: float
    keepers: float
    tolerance_s: float
    remarks: tuple[str, ...]

    @property
    def skew(self) -> Reported:
        """The first of the quantities."""
        return self.quantities[0]


def read_lamps(session: Session) -> LampAnalysis:
    """Everything the frames show, from the session file alone. Raises BadInput for a count that cannot be."""
    rig = parse_rig(session.header.rig_toml, "the rig in the session file")
    known = known_from(session.header.known)
    rows, frames = rows_of(session), frames_of(session)
    full_tick = _full_ticks(session)
    pairs, remarks = [], list(_unread(rig, rows, frames))
    for at, number in enumerate(session.shot.tolist()):
        if number in rows:
            pairs.append(_pair(session, rows[number], frames, full_tick[at], at))
    if pairs:
        pairs, said = unwrapped(pairs, isolators_s(known))
        remarks += said
    fastest = min((pair.step_s for pair in pairs if _told(pair)), default=0.0)
    fast = [pair for pair in pairs if pair.step_s == fastest]
    odd, said = misread(fast, rig, read_alike_twice(session)) if fast else (frozenset(), [])
    fast = [pair for pair in fast if pair.number not in odd]
    remarks += said
    off_line_m = max((run.off_line_m for run in rows.values()), default=0.0)
    skew_s = np.array([pair.skew_s for pair in fast])
    seen = skew_s[np.isfinite(skew_s)]
    jitter_s = spread(seen, fastest / float(np.sqrt(12.0))) if seen.size else np.nan
    limit_s = tolerance_s(rig)
    if seen.size == 1:
        remarks.append("One pair alone shows nothing of the jitter: photograph some more.")
    return LampAnalysis(
        rig=rig,
        pairs=tuple(pairs),
        quantities=(
            skew_of(fast, rig, off_line_m),
            *(lag_of(fast, index, rig, known, off_line_m) for index in (0, 1)),
            *(exposure_of(fast, index, rig, off_line_m) for index in (0, 1)),
        ),
        used=int(seen.size),
        jitter_s=float(jitter_s),
        keepers=float(1.0 - 2.0 * stats.t.sf(limit_s / jitter_s, seen.size - 1)) if seen.size > 1 else np.nan,
        tolerance_s=limit_s,
        remarks=tuple(remarks),
    )


def calibration_of(found: LampAnalysis, *, created: str, session: str, box: str) -> Calibration:
    """What the frames taught, to be kept beside the rig: the offset, and each body's exposure at its marked time.

    Raises BadInput with fewer than LEAST_TO_KEEP pairs read.
    """
    skew = found.skew
    if skew.budget is None or found.used < LEAST_TO_KEEP:
        raise BadInput(
            f"{found.used} pairs have been read in both bodies' frames; an offset to keep takes {LEAST_TO_KEEP}. "
            "Read the others, or photograph more."
        )
    half_s = skew.budget.expanded_s
    rig = found.rig
    exposures = {
        one.body: one for one in found.quantities if one.what == "exposure" and one.budget is not None
    }
    return Calibration(
        created=created,
        rig_name=rig.name,
        exposures=rig.exposures,
        apertures=(rig.bodies.a.lens.aperture, rig.bodies.b.lens.aperture),
        offset_s=skew.value_s,
        interval_s=(skew.value_s - half_s, skew.value_s + half_s),
        jitter_s=found.jitter_s,
        expected_keepers=found.keepers,
        tolerance_s=found.tolerance_s,
        shots=found.used,
        how="lamps+lamps",
        sessions=(session,),
        box=box,
        learned=tuple(
            Learned(
                index,
                rig.exposures[index],
                exposure_s=exposures[letter].value_s,
                exposure_u_s=exposures[letter].combined_s,
            )
            for index, letter in enumerate(BODIES)
            if letter in exposures
        ),
        rig=timing_keys(rig),
    )


# -- one pair -------------------------------------------------------------------------------------------------


def _told(pair: LampPair) -> bool:
    return bool(np.isfinite(pair.mid_s).any())


def _pair(
    session: Session,
    run: RowRun,
    frames: dict[tuple[int, int], FrameRead],
    full_tick: npt.NDArray[np.int64],
    at: int,
) -> LampPair:
    row = LampRow(run.lamps, run.step_ticks / session.header.tick_hz)
    mids, spans, doubts = [np.nan, np.nan], [np.nan, np.nan], [0.0, 0.0]
    for index, letter in enumerate(BODIES):
        read = frames.get((run.shot, index))
        if read is None or read.first is None or read.last is None:
            continue
        opened, closed = frame_edges_s(row, read.first, read.last, letter)
        mids[index], spans[index] = 0.5 * (opened + closed), closed - opened
        doubts[index] = read.doubtful
    offset_s = float(session.plan_ns[at, 0] - session.plan_ns[at, 1]) * 1e-9
    pressed = [
        (tick - run.start_tick) / session.header.tick_hz if tick >= 0 else np.nan
        for tick in full_tick.tolist()
    ]
    return LampPair(
        run.shot,
        row.step_s,
        row.round_s,
        (mids[0], mids[1]),
        (spans[0], spans[1]),
        within_round(mids[1] - mids[0] + offset_s, row.round_s),
        (mids[0] - pressed[0], mids[1] - pressed[1]),
        (doubts[0], doubts[1]),
    )


def _full_ticks(session: Session) -> npt.NDArray[np.int64]:
    """Tick of each body's full-press, (n, 2); -1 where there was none."""
    ticks = np.full((session.shot.size, 2), -1, dtype=np.int64)
    edges, names = session.edges, session.header.channels
    for index, letter in enumerate("ab"):
        if f"full_{letter}" not in names:
            continue
        at = np.flatnonzero((edges.channel == names.index(f"full_{letter}")) & (edges.level == 1))
        row, first = np.unique(edges.row[at], return_index=True)
        ticks[row, index] = edges.tick[at][first]
    return ticks


def _unread(rig: Rig, rows: dict[int, RowRun], frames: dict[tuple[int, int], FrameRead]) -> tuple[str, ...]:
    said = []
    for index, letter in enumerate(BODIES):
        missing = [number for number in rows if (number, index) not in frames]
        dark = [
            number for number in rows if (number, index) in frames and frames[(number, index)].first is None
        ]
        for numbers, what in ((missing, "not read yet"), (dark, "without a first and a last lamp")):
            if numbers:
                listed = ", ".join(map(str, numbers))
                said.append(f"Frames of {rig.both[index].name} ({letter}) {what}: {listed}.")
    return tuple(said)
