"""Which body to delay, and by how much.

    1. sort out the series       first shots, outliers and misses set aside and named   (series.py)
    2. fit level, drift, scatter posterior draws of the centre at the end of the series (level.py)
    3. does that shape fit?      if not: kernel-smoothed keepers, bootstrapped          (kernel.py)
    4. offset = centre           the +-tolerance window round it keeps most, quantised to the box
    5. what to expect            keepers, next frame, shots that would halve the interval

Skew is mid-exposure B minus A. A positive offset holds body A back: skew after = skew before - offset.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy import stats

from coincide.errors import BadInput
from coincide.timing.offset.doubt import Doubt, doubt
from coincide.timing.offset.frames import even_normal, growth, next_frame_ends, scattered, with_far_frames
from coincide.timing.offset.kernel import (
    BEST_SET,
    KernelFit,
    at_the_end,
    kernel_lead,
    kernel_offset,
    shape_fits,
)
from coincide.timing.offset.level import MOST_SHOTS, LevelDraws, draw_level
from coincide.timing.offset.lopsided import tail
from coincide.timing.offset.proof import median_interval, tolerance_factor
from coincide.timing.offset.series import Series, sort_out
from coincide.timing.offset.structure import UNNAMED, Structure, with_structure
from coincide.timing.order import order_p, worth

Floats = npt.NDArray[np.float64]

LEAST_SHOTS = 5
STAYS = ("alike", "steps")  # structures whose centre stands still at the end
TICK_S = 8e-9
CURVE_DRAWS = 400


@dataclass(frozen=True, slots=True)
class OffsetSuggestion:
    """The offset and what it promises; seconds and probabilities; intervals are (low, high) at 95 %.

    offset_s is signed (positive: the box delays A) and a whole number of box steps; best_s is the same
    before rounding; interval_s covers it, type B included. type_a_s: standard uncertainty from the shots alone, with
    Student's degrees of freedom; type_b_s: of every pair alike. median_s, median_interval_s: plain median of the
    shots used, no model. jitter_s: standard deviation of the skew about its centre. expected_keepers: share
    of answered pairs expected within tolerance in the state the bodies had at the end of the series, averaged over
    what is uncertain in every pair alike; expected_keepers_u its standard uncertainty, keepers_range where it lies
    (95 %). keepers_seen, keepers_seen_u: the same as these very sensors would count them, whose common error a fresh
    series shares. next_frame_s: prediction interval for the skew of the next
    frame, offset on. shots_to_halve: further shots that would halve the interval (None where shots cannot: type B
    rules, only the last MOST_SHOTS are fitted, or the centre moves). drift_s: how far the centre moved over the
    series (end minus start; mean over the posterior), drift_chance the probability that it moved at all. method:
    'shape' or 'kernel'.
    curve_offset_s, curve_keepers: expected keepers for offsets about the suggestion, for plotting. Rows of
    the series: used; first, shots after a rest left out because they differ; outliers; missed. structure: in
    time, where it is evident; doubt: where the shots cannot tell whether the centre wanders. tail: 1 or -1 where the
    scatter is lopsided, towards later or earlier B. kept_share: of pairs that are not lost for another reason than
    their skew.
    """

    offset_s: float
    best_s: float
    interval_s: tuple[float, float]
    body_to_delay: str | None
    delay_s: float
    median_s: float
    median_interval_s: tuple[float, float]
    jitter_s: float
    jitter_interval_s: tuple[float, float]
    tolerance_s: float
    expected_keepers: float
    expected_keepers_u: float
    keepers_range: tuple[float, float]
    keepers_seen: float
    keepers_seen_u: float
    next_frame_s: tuple[float, float]
    shots_to_halve: int | None
    drift_s: float
    drift_chance: float
    method: str
    type_a_s: float
    type_b_s: float
    curve_offset_s: tuple[float, ...]
    curve_keepers: tuple[float, ...]
    used: tuple[int, ...]
    first: tuple[int, ...]
    outliers: tuple[int, ...]
    missed: tuple[int, ...]
    draws: LevelDraws = field(repr=False, compare=False)
    span_s: float = 0.0
    spacing_s: float = 0.0
    structure: Structure | None = None
    doubt: Doubt | None = None
    tail: int = 0
    kept_share: float = 1.0

    @property
    def shots_used(self) -> int:
        return len(self.used)

    @property
    def envelope_s(self) -> float:
        """Half-width about the centre that holds 90 % of all frames with 99 % confidence, the scatter being
        no wider tailed than normal (Howe's tolerance factor)."""
        return tolerance_factor(self.shots_used, 0.90, 0.99) * self.jitter_s


def suggest_offset(
    skew_s: Floats,
    *,
    tolerance_s: float,
    resolution_s: float = TICK_S,
    offset_s: npt.ArrayLike = 0.0,
    start_s: Floats | None = None,
    rest_s: Floats | None = None,
    type_b_s: float = 0.0,
    seed: int = 516,
) -> OffsetSuggestion:
    """Offset for a series of skews (n,), seconds, NaN where a pair has none.

    offset_s: the offset that was on, one or (n,). start_s, rest_s (n,): when each shot began and the quiet
    before it (`Shots.start_s`, `.rest_s`); without them shots count as evenly spaced. resolution_s: the
    box's step. type_b_s: standard uncertainty of all skews in common (sensors, model); it widens the interval,
    the keepers' range and the next frame's, and moves no offset. Raises BadInput with fewer than LEAST_SHOTS usable
    shots. Time grows as n; of a longer series only the last MOST_SHOTS of level.py are fitted (the offset is for the
    bodies as they are at the end).
    """
    if not tolerance_s > 0:
        raise BadInput(f"The tolerance must be more than zero, not {tolerance_s * 1e3:g} ms.")
    series = sort_out(skew_s, step_s=resolution_s, offset_s=offset_s, start_s=start_s, rest_s=rest_s)
    if series.used.size < LEAST_SHOTS:
        raise BadInput(
            f"Only {_too_few(series)}; an offset needs at least {LEAST_SHOTS} that count. "
            "Fire more pairs, and see why the others have none."
        )
    steady = draw_level(series.skew_s, series.x, seed=seed)
    draws, structure = with_structure(steady, series.skew_s)
    # What moved in time may look like humps: where it did, no histogram of all shots tells where they are now.
    # Nor is a long tail a movement: a few far shots are explained by either, so it must lead the histogram too.
    moving = structure is not None and structure.lead > 0.0 and structure.lead > kernel_lead(series, steady)
    by_count = None if moving else _by_count(series, steady, tolerance_s, seed)
    if by_count is None:
        draws = draws if moving else _as_at_the_end(series, draws)
        found = _from_shape(series, draws, tolerance_s, resolution_s, type_b_s, seed)
    else:
        kernel, leans = by_count
        counted = _from_kernel(series, steady, kernel, tolerance_s, resolution_s, type_b_s, seed)
        found = replace(counted, tail=leans)
    if not moving:
        found = _allowing_for_order(found, series, steady)
        return found if found.structure else replace(found, doubt=doubt(series.skew_s, steady.lead))
    # More pairs of a centre that goes on moving narrow what it is now little or not at all.
    halved = found.shots_to_halve if structure is not None and structure.kind in STAYS else None
    return replace(found, structure=structure, shots_to_halve=halved)


def _by_count(
    series: Series, draws: LevelDraws, tolerance_s: float, seed: int
) -> tuple[KernelFit, int] | None:
    """The offset by counting smoothed shots, and the side of the long tail or 0; None where the shape does as well."""
    fits = shape_fits(series, draws)
    leans = tail(at_the_end(series, draws), float(draws.weight[draws.half > 0].sum()))
    if fits and not leans:
        return None
    kernel = kernel_offset(series, draws, tolerance_s, seed=seed, leans=leans != 0)
    centre_s = draws.quantile(draws.level_s, 0.5)
    kept = kernel.smoothed_keepers(np.array([centre_s, kernel.best_s]), tolerance_s)
    # Within a tolerance wide enough for all of them a tail costs nothing.
    return None if fits and kept[1] - kept[0] <= BEST_SET else (kernel, leans)


def _as_at_the_end(series: Series, draws: LevelDraws) -> LevelDraws:
    """The draws with the scatter of the end, where it grew or shrank: keepers and the next frame are of then."""
    drifting = draws.weight[np.isfinite(draws.time_constant)].sum() > 0.5
    grown = None if drifting else growth(series.skew_s - draws.quantile(draws.level_s, 0.5))
    return draws if grown is None else replace(draws, sigma_s=grown.at_end * draws.sigma_s)


def _allowing_for_order(found: OffsetSuggestion, series: Series, draws: LevelDraws) -> OffsetSuggestion:
    """Where no structure explains the shots and what is left of them still depends on its order, the interval is that
    of as many independent shots as they are worth."""
    left = at_the_end(series, draws)
    share = worth(left)
    if share == 1.0:
        return found
    wider = float(np.sqrt(1.0 / share))
    low, high = (found.best_s + wider * (end - found.best_s) for end in found.interval_s)
    unnamed = Structure(1.0 - order_p(left), 0.0, UNNAMED, None, 0.0)
    type_a = wider * found.type_a_s
    return replace(found, interval_s=(low, high), type_a_s=type_a, structure=unnamed, shots_to_halve=None)


def with_lost_keepers(found: OffsetSuggestion, lost: int) -> OffsetSuggestion:
    """The same where so many more pairs were no keepers for another reason than their skew, as black frames are."""
    if not lost:
        return found
    answered = len(found.used) + len(found.outliers)
    share = answered / (answered + lost)
    u = float(np.sqrt(share * (1.0 - share) / (answered + lost)))
    low, high = found.keepers_range
    return replace(
        found,
        expected_keepers=found.expected_keepers * share,
        expected_keepers_u=float(np.hypot(found.expected_keepers_u * share, u)),
        keepers_range=(low * share, high * share),
        keepers_seen=found.keepers_seen * share,
        keepers_seen_u=float(np.hypot(found.keepers_seen_u * share, u)),
        kept_share=share,
    )


def _from_shape(
    series: Series, draws: LevelDraws, tolerance_s: float, resolution_s: float, type_b_s: float, seed: int
) -> OffsetSuggestion:
    """One symmetric hump: the window that keeps most is centred on it, so the offset is the centre."""
    best = float(draws.quantile(draws.level_s, 0.5))
    offset = _quantise(best, resolution_s)
    rng = np.random.default_rng(seed)
    common = type_b_s * even_normal(rng, draws.level_s.size)
    truth = draws.level_s + common
    sane = _sane(series)
    moved = draws.wandered(1, rng)
    ahead = truth - offset + (moved if isinstance(moved, float) else moved[:, 0])
    shot = ahead + scattered(rng, draws.sigma_s, draws.half)
    low, high = draws.quantile(truth, (0.025, 0.975))
    below, above = draws.quantile(shot, next_frame_ends(sane))
    curve = offset + np.linspace(-2.0, 2.0, 81) * tolerance_s
    few = draws.thinned(CURVE_DRAWS)
    curve_keepers = few.weight @ few.within(few.level_s[:, None] - curve, tolerance_s)
    return _assemble(
        series,
        draws,
        best=best,
        offset=offset,
        interval=(float(low), float(high)),
        shots_alone=_spread(draws.quantile(draws.level_s, (0.025, 0.975))),
        seen=_Keepers.of(draws, draws.within(draws.level_s - offset, tolerance_s)),
        kept=_Keepers.of(draws, draws.within(truth - offset, tolerance_s)),
        next_frame=(float(below), float(above)),
        tolerance_s=tolerance_s,
        type_b_s=type_b_s,
        curve=(curve, curve_keepers),
        method="shape",
    )


def _from_kernel(
    series: Series,
    draws: LevelDraws,
    kernel: KernelFit,
    tolerance_s: float,
    resolution_s: float,
    type_b_s: float,
    seed: int,
) -> OffsetSuggestion:
    """Skewed or many-humped: the offset that keeps most of the smoothed shots, its interval from the
    bootstrap."""
    offset = _quantise(kernel.best_s, resolution_s)
    low, high = kernel.interval_s
    margin = 1.96 * type_b_s
    down, up = kernel.best_s - low, high - kernel.best_s
    interval = (kernel.best_s - float(np.hypot(down, margin)), kernel.best_s + float(np.hypot(up, margin)))
    rng = np.random.default_rng(seed)
    common = type_b_s * even_normal(rng, draws.level_s.size)
    here = max(float(kernel.smoothed_keepers(np.array([offset]), tolerance_s)[0]), 1e-9)
    moved = kernel.smoothed_keepers(offset - common, tolerance_s) / here
    scattered = kernel.keepers + kernel.keepers_u * rng.standard_normal(common.size)
    below, above = kernel.next_shot_s
    return _assemble(
        series,
        draws,
        best=kernel.best_s,
        offset=offset,
        interval=interval,
        shots_alone=_spread(np.array(kernel.interval_s)),
        seen=_Keepers(kernel.keepers, kernel.keepers_u, (0.0, 1.0)),
        kept=_Keepers.of(draws, np.clip(scattered * moved, 0.0, 1.0)),
        next_frame=(
            kernel.best_s - float(np.hypot(kernel.best_s - below, margin)) - offset,
            kernel.best_s + float(np.hypot(above - kernel.best_s, margin)) - offset,
        ),
        tolerance_s=tolerance_s,
        type_b_s=type_b_s,
        curve=(kernel.curve_offset_s, kernel.curve_keepers),
        method="kernel",
    )


@dataclass(frozen=True, slots=True)
class _Keepers:
    """Share kept: mean, standard uncertainty, 95 % range."""

    mean: float
    u: float
    ends: tuple[float, float]

    @staticmethod
    def of(draws: LevelDraws, kept: Floats) -> _Keepers:
        mean = draws.mean(kept)
        low, high = draws.quantile(kept, (0.025, 0.975))
        return _Keepers(mean, float(np.sqrt(draws.mean((kept - mean) ** 2))), (float(low), float(high)))

    def among(self, sane: float, answered: int) -> _Keepers:
        """Of all answered pairs, when a share `sane` of them are like the others."""
        u = float(np.hypot(self.u * sane, np.sqrt(sane * (1.0 - sane) / answered)))
        return _Keepers(self.mean * sane, u, (self.ends[0] * sane, self.ends[1] * sane))


def _assemble(
    series: Series,
    draws: LevelDraws,
    *,
    best: float,
    offset: float,
    interval: tuple[float, float],
    shots_alone: float,
    seen: _Keepers,
    kept: _Keepers,
    next_frame: tuple[float, float],
    tolerance_s: float,
    type_b_s: float,
    curve: tuple[Floats, Floats],
    method: str,
) -> OffsetSuggestion:
    jitter = draws.jitter_s()
    jitter_low, jitter_high = draws.quantile(jitter, (0.025, 0.975))
    answered, sane = series.used.size + series.outliers.size, _sane(series)
    median_low, median_high = median_interval(series.skew_s)
    # A budget expands this with Student's factor again: half the interval is that factor times it.
    type_a = 0.5 * shots_alone / float(stats.t.ppf(0.975, max(series.used.size - 1, 1)))
    moved = np.isfinite(draws.time_constant)
    seen, kept = seen.among(sane, answered), kept.among(sane, answered)
    return OffsetSuggestion(
        offset_s=offset,
        best_s=best,
        interval_s=interval,
        body_to_delay="A" if offset > 0 else "B" if offset < 0 else None,
        delay_s=abs(offset),
        median_s=float(np.median(series.skew_s)),
        median_interval_s=(median_low, median_high),
        jitter_s=float(draws.quantile(jitter, 0.5)),
        jitter_interval_s=(float(jitter_low), float(jitter_high)),
        tolerance_s=tolerance_s,
        expected_keepers=kept.mean,
        expected_keepers_u=kept.u,
        keepers_range=kept.ends,
        keepers_seen=seen.mean,
        keepers_seen_u=seen.u,
        next_frame_s=with_far_frames(next_frame, series.far_s - offset, sane),
        shots_to_halve=_shots_to_halve(series.used.size, type_a, type_b_s),
        drift_s=draws.mean(-draws.change_s),
        drift_chance=float(draws.weight[moved].sum()),
        method=method,
        type_a_s=type_a,
        type_b_s=type_b_s,
        curve_offset_s=tuple(curve[0].tolist()),
        curve_keepers=tuple((curve[1] * sane).tolist()),
        used=tuple(series.used.tolist()),
        first=tuple(series.differing.tolist()),
        outliers=tuple(series.outliers.tolist()),
        missed=tuple(series.missed.tolist()),
        draws=draws,
        span_s=series.span_s,
        spacing_s=series.spacing_x * series.span_s,
    )


def _sane(series: Series) -> float:
    """Share of answered pairs that are not far from all others."""
    return series.used.size / (series.used.size + series.outliers.size)


def _spread(ends: Floats) -> float:
    return float(ends[1] - ends[0])


def _too_few(series: Series) -> str:
    """How many pairs have a skew, and how many of them do not count."""
    aside = series.differing.size + series.outliers.size
    answered = series.used.size + aside
    said = "1 pair has a usable skew" if answered == 1 else f"{answered} pairs have a usable skew"
    return f"{said}, {aside} of them set aside as a first shot or far from the others" if aside else said


def _quantise(value_s: float, step_s: float) -> float:
    return round(value_s / step_s) * step_s


def _shots_to_halve(used: int, type_a_s: float, type_b_s: float) -> int | None:
    """Further shots for half the type A part, by Student's t over root n; None where type B is the larger part, or
    they would be more than are fitted."""
    if type_b_s > type_a_s or type_a_s == 0.0:
        return None
    half = 0.5 * float(stats.t.ppf(0.975, used - 1)) / np.sqrt(used)
    total = 4.0 * used
    for _ in range(6):  # t hardly depends on the total: this settles at once
        total = (float(stats.t.ppf(0.975, total - 1.0)) / half) ** 2
    return int(np.ceil(total)) - used if total <= MOST_SHOTS else None
