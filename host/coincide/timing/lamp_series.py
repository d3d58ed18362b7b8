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
from coincide.rig.tolerance import tolerance_s
from coincide.session.lamps import FrameRead, RowRun, frames_of, rows_of
from coincide.session.model import BODIES, Session
from coincide.timing.budgets import CLOCK_PPM, Reported, type_b_components
from coincide.timing.known import Known, known_from
from coincide.timing.lamp_misread import misread
from coincide.timing.part import Part, rectangular
from coincide.timing.shutter.circuits import isolators_s, release_parts
from coincide.timing.shutter.optical import LampRow, frame_edges_s
from coincide.timing.shutter.traits import shutter_model
from coincide.timing.uncertainty import Budget, Component, budget, rectangular_u

Floats = npt.NDArray[np.float64]

FAINT = 0.25  # of a step: how much of an end lamp's light may be missing before nobody finds it
START_S = 0.0002  # half-width: how well the box knows when the row began
LEAST_TO_KEEP = 5  # pairs before an offset may be kept as a calibration
LEAST_OTHERS = 4  # pairs before one can be said to stand off the others
FAR_STEPS, FAR_DEVIATIONS = 3.0, 6.0
NEAR_HALF = 0.4  # of a round: a skew beyond this may as well be one the other way
REMEDY_STEP = "a faster row, or more frames"
REMEDY_PLACE = "lay the row through the frame's centre, along the curtain's edge"
REMEDY_FAINT = "look for the faintest lamps with a loupe, or lengthen the scan's shadows"


@dataclass(frozen=True, slots=True)
class LampPair:
    """One pair: step of its row; skew without any offset, lags and exposures (span of the lamps), NaN where not
    read. mid_s: (2,) middles after the row's start, within a round."""

    number: int
    step_s: float
    round_s: float
    mid_s: tuple[float, float]
    exposure_s: tuple[float, float]
    skew_s: float
    lag_s: tuple[float, float]
    doubtful: tuple[float, float]


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
        pairs, said = _unwrapped(pairs, isolators_s(known))
        remarks += said
    fastest = min((pair.step_s for pair in pairs if _told(pair)), default=0.0)
    fast = [pair for pair in pairs if pair.step_s == fastest]
    odd, said = misread(fast, rig) if fast else (frozenset(), [])
    fast = [pair for pair in fast if pair.number not in odd]
    remarks += said
    off_line_m = max((run.off_line_m for run in rows.values()), default=0.0)
    skew_s = np.array([pair.skew_s for pair in fast])
    seen = skew_s[np.isfinite(skew_s)]
    jitter_s = _spread(seen, fastest / float(np.sqrt(12.0))) if seen.size else np.nan
    remarks += _far_from_the_others(fast, skew_s)
    limit_s = tolerance_s(rig)
    if seen.size == 1:
        remarks.append("One pair alone shows nothing of the jitter: photograph some more.")
    return LampAnalysis(
        rig=rig,
        pairs=tuple(pairs),
        quantities=(
            _skew(fast, rig, off_line_m),
            *(_lag(fast, index, rig, known, off_line_m) for index in (0, 1)),
            *(_exposure(fast, index, rig, off_line_m) for index in (0, 1)),
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
        _within(mids[1] - mids[0] + offset_s, row.round_s),
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


# -- rounds ---------------------------------------------------------------------------------------------------


def _within(value_s: float, round_s: float) -> float:
    """The same on the row, from minus half a round to half a round."""
    return float((value_s + 0.5 * round_s) % round_s - 0.5 * round_s)


def _unwrapped(pairs: list[LampPair], isolator_s: Floats) -> tuple[list[LampPair], list[str]]:
    """Skews and lags with the right number of rounds, from the slowest row to the fastest; sentences."""
    said: list[str] = []
    known: list[float | None] = [None, None, None]  # skew, lag of A, lag of B, as the slower rows showed
    found: list[LampPair] = []
    for round_s in sorted({pair.round_s for pair in pairs}, reverse=True):
        level = [pair for pair in pairs if pair.round_s == round_s]
        columns = np.array([(pair.skew_s, *(np.array(pair.lag_s) - isolator_s)) for pair in level])
        for which in range(3):
            column, near = columns[:, which], known[which]
            seen = column[np.isfinite(column)]
            if not seen.size:
                continue
            if near is None:
                # A lag is never negative, but the step's rounding may make it look so.
                least = -0.5 * round_s if which == 0 else -level[0].step_s
                first = (seen[0] - least) % round_s + least
                near = float(first)
                if which == 0:
                    said += _one_way_or_the_other(near, round_s, len({pair.round_s for pair in pairs}) > 1)
            columns[:, which] = column + round_s * np.round((near - column) / round_s)
            known[which] = float(np.nanmean(columns[:, which]))
        found += [
            LampPair(
                pair.number,
                pair.step_s,
                pair.round_s,
                pair.mid_s,
                pair.exposure_s,
                float(row[0]),
                (float(row[1]), float(row[2])),
                pair.doubtful,
            )
            for pair, row in zip(level, columns, strict=True)
        ]
    return sorted(found, key=lambda pair: pair.number), said


def _one_way_or_the_other(skew_s: float, round_s: float, two_speeds: bool) -> list[str]:
    if abs(skew_s) > NEAR_HALF * round_s:
        return [
            f"A skew of {skew_s * 1e3:.0f} ms is nearly half a round of the row ({round_s * 1e3:.0f} ms) and may as "
            "well be one the other way: photograph a slower row as well."
        ]
    if not two_speeds:
        return [
            f"All frames show a row of one speed: the skew holds if it is under half a round, {round_s * 5e2:.0f} ms."
        ]
    return []


def _far_from_the_others(pairs: list[LampPair], skew_s: Floats) -> list[str]:
    """Pairs so far off that a frame was more likely misread; they count all the same."""
    seen = np.isfinite(skew_s)
    if seen.sum() < LEAST_OTHERS:
        return []
    off = np.abs(skew_s - np.median(skew_s[seen]))
    usual = max(FAR_STEPS * pairs[0].step_s, FAR_DEVIATIONS * 1.4826 * float(np.median(off[seen])))
    return [
        f"Pair {pair.number} stands {distance * 1e3:.0f} ms off the others: look at its frames again."
        for pair, distance in zip(pairs, off, strict=True)
        if distance > usual
    ]


# -- quantities -----------------------------------------------------------------------------------------------


def _spread(values: Floats, least_s: float) -> float:
    """Standard deviation, not less than the steps alone give."""
    return max(float(np.std(values, ddof=1)) if values.size > 1 else 0.0, least_s)


def _scatter(values: Floats, least_s: float) -> Component:
    n = values.size
    u = _spread(values, least_s) / float(np.sqrt(n))
    if n == 1:
        return Component("lamp step", u, distribution="triangular", kind="B", remedy=REMEDY_STEP)
    name = f"scatter of {n} frames, lamp steps included"
    return Component(name, u, n - 1.0, "student", "A", REMEDY_STEP)


def _column(pairs: list[LampPair], which: str, index: int | None = None) -> tuple[Floats, list[LampPair]]:
    """Values of the pairs that have one, and those pairs."""
    values = [getattr(pair, which) if index is None else getattr(pair, which)[index] for pair in pairs]
    kept = [(value, pair) for value, pair in zip(values, pairs, strict=True) if np.isfinite(value)]
    return np.array([value for value, _ in kept]), [pair for _, pair in kept]


def _misread(pairs: list[LampPair], index: int, edges: float) -> Part:
    """Lamps somebody was in doubt about, frame by frame. `edges`: how the two ends enter, 1/2 each or 1 each."""
    squares = [(rectangular_u(pair.doubtful[index] * pair.step_s) * edges) ** 2 * 2.0 for pair in pairs]
    u = float(np.sqrt(np.sum(squares))) / max(len(pairs), 1)
    return Part(f"doubtful lamps, {BODIES[index]}", u, "normal", "look again")


def _place_s(rig: Rig, index: int, off_line_m: float) -> float:
    """How far the curtain may be from the frame's centre line where the row is, either way, in time."""
    model = shutter_model(rig.both[index])
    share = min(off_line_m / model.length_m, 0.5)
    return 0.5 * (model.time_at(0.5 + share) - model.time_at(0.5 - share)) if model.sweep_s else 0.0


def _mid_parts(rig: Rig, index: int, pairs: list[LampPair], off_line_m: float) -> tuple[Part, ...]:
    letter, step_s = BODIES[index], pairs[0].step_s
    return (
        rectangular(
            f"place of the row in the frame, {letter}", _place_s(rig, index, off_line_m), REMEDY_PLACE
        ),
        rectangular(f"faint end lamps, {letter}", 0.5 * FAINT * step_s, REMEDY_FAINT),
        _misread(pairs, index, 0.5),
    )


def _sum(scatter: Component, parts: tuple[Part, ...], value_s: float) -> Budget:
    clock = Component(
        "the box's clock", rectangular_u(CLOCK_PPM * 1e-6 * abs(value_s)), distribution="rectangular"
    )
    kept = tuple(part for part in parts if part.u_s > 0)
    return budget((scatter, *type_b_components(kept), clock))


def _skew(pairs: list[LampPair], rig: Rig, off_line_m: float) -> Reported:
    values, used = _column(pairs, "skew_s")
    if not used:
        return Reported("skew", None, np.nan, None, "No pair has been read in both bodies' frames.")
    mean = float(np.mean(values))
    parts = tuple(part for index in (0, 1) for part in _mid_parts(rig, index, used, off_line_m))
    # Each middle is uniform over a step's triangle: step squared / 24, twice.
    return Reported("skew", None, mean, _sum(_scatter(values, used[0].step_s / np.sqrt(12.0)), parts, mean))


def _lag(pairs: list[LampPair], index: int, rig: Rig, known: Known, off_line_m: float) -> Reported:
    letter = BODIES[index]
    values, used = _column(pairs, "lag_s", index)
    if not used:
        return Reported("lag", letter, np.nan, None, "No frame has been read.")
    mean = float(np.mean(values))
    start = rectangular("start of the row", START_S, "none: the box tells it no better")
    parts = (*_mid_parts(rig, index, used, off_line_m), start, *release_parts(known, index))
    return Reported("lag", letter, mean, _sum(_scatter(values, used[0].step_s / np.sqrt(24.0)), parts, mean))


def _exposure(pairs: list[LampPair], index: int, rig: Rig, off_line_m: float) -> Reported:
    letter = BODIES[index]
    values, used = _column(pairs, "exposure_s", index)
    if not used:
        return Reported("exposure", letter, np.nan, None, "No frame has been read.")
    # One lamp alone: opening and closing fell into one step, a third of it apart on average.
    step_s, mean = used[0].step_s, float(np.mean(values))
    mean = mean if mean > 0 else step_s / 3.0
    tilt_s = 2.0 * _place_s(rig, index, off_line_m) * min(mean / used[0].round_s, 1.0)
    parts = (
        rectangular(f"tilt of the row in the frame, {letter}", tilt_s, REMEDY_PLACE),
        rectangular(f"faint end lamps, {letter}", 2.0 * FAINT * step_s, REMEDY_FAINT),
        _misread(used, index, 1.0),
    )
    # Two ends uniform over a step each: step squared / 6.
    return Reported("exposure", letter, mean, _sum(_scatter(values, step_s / np.sqrt(6.0)), parts, mean))
