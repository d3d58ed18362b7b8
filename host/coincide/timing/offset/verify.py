"""What was predicted beside what came: a fresh series fired with the offset on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput
from coincide.timing.offset.ahead import looking_ahead
from coincide.timing.offset.kernel import kernel_offset
from coincide.timing.offset.level import LevelDraws, draw_level
from coincide.timing.offset.proof import proven_share
from coincide.timing.offset.series import Series, sort_out
from coincide.timing.offset.structure import with_structure
from coincide.timing.offset.suggest import LEAST_SHOTS, TICK_S, OffsetSuggestion

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Verification:
    """A fresh series against its promise. Seconds, probabilities, 95 % intervals (low, high).

    pairs: answered pairs, first shots after a rest always left out (`first`, rows): no picking by result.
    keepers: of them within tolerance; share = keepers / pairs; share_interval: Wilson's, which is all that
    this series proves. predicted_share: from the series, any drift carried on through these very shots, as the
    same sensors count them: what is uncertain in every pair alike the fresh pairs share, and cannot show.
    predicted_keepers: range the count should fall in. centre_s: skew left over; centre_interval_s its own
    interval; centre_allowed_s: how far from zero it may lie when the offset is right, from both series'
    uncertainty and the drift still to come. predicted_centre_s: where that drift should have taken it.
    jitter_s: standard deviation found.
    """

    pairs: int
    keepers: int
    share: float
    share_interval: tuple[float, float]
    predicted_share: float
    predicted_keepers: tuple[int, int]
    keepers_agree: bool
    centre_s: float
    centre_interval_s: tuple[float, float]
    predicted_centre_s: float
    centre_allowed_s: float
    centre_agrees: bool
    jitter_s: float
    predicted_jitter_s: float
    first: tuple[int, ...]
    outliers: tuple[int, ...]
    missed: tuple[int, ...]

    @property
    def agrees(self) -> bool:
        return self.keepers_agree and self.centre_agrees


def verify(
    suggestion: OffsetSuggestion,
    skew_s: Floats,
    *,
    start_s: Floats | None = None,
    rest_s: Floats | None = None,
    pause_s: float | None = None,
    resolution_s: float = TICK_S,
    black: int = 0,
    seed: int = 1879,
) -> Verification:
    """Compare a fresh series of skews (n,), measured with `suggestion.offset_s` on, with what was promised.

    start_s, rest_s (n,) as in `suggest_offset`. pause_s: from the last shot of the first series to the
    first of this one; by default one usual interval, so that a drift found is carried on without a break.
    black: pairs besides with a frame that got no light: counted, and not kept.
    Raises BadInput with fewer than LEAST_SHOTS pairs that count.
    """
    fresh = sort_out(skew_s, step_s=resolution_s, start_s=start_s, rest_s=rest_s, keep_first=False)
    if fresh.used.size < LEAST_SHOTS:
        raise BadInput(
            f"Only {fresh.used.size} pairs of the fresh series have a usable skew; "
            f"at least {LEAST_SHOTS} are needed. Fire it again."
        )
    rng = np.random.default_rng(seed)
    suggestion = replace(suggestion, draws=looking_ahead(suggestion.draws))
    path = _centres_to_come(suggestion, fresh, pause_s, known_times=start_s is not None)
    path = path + suggestion.draws.wandered(path.shape[1], rng)
    counted = np.concatenate([fresh.used, fresh.outliers])
    keepers = int(np.sum(np.abs(np.asarray(skew_s)[counted]) <= suggestion.tolerance_s))
    shares = _shares(suggestion, path)
    pairs = int(counted.size) + black
    counts = rng.binomial(pairs, np.clip(shares, 0.0, 1.0))
    predicted = suggestion.draws.quantile(counts.astype(np.float64), (0.025, 0.975))
    low_count, high_count = int(np.floor(predicted[0])), int(np.ceil(predicted[1]))

    own, _ = with_structure(draw_level(fresh.skew_s, fresh.x, drift_prior=0.0), fresh.skew_s)
    centre, interval, error = _centre(suggestion, fresh, own, rng)
    expected = path.mean(axis=1)
    allowed = float(suggestion.draws.quantile(np.abs(expected + error), 0.95))
    if suggestion.method == "kernel":
        expected = expected + suggestion.offset_s - suggestion.draws.level_s
        allowed = abs(suggestion.draws.mean(expected)) + float(
            np.hypot(_half(suggestion.interval_s), _half(interval))
        )
    return Verification(
        pairs=pairs,
        keepers=keepers,
        share=keepers / pairs,
        share_interval=proven_share(keepers, pairs),
        predicted_share=suggestion.draws.mean(shares),
        predicted_keepers=(low_count, high_count),
        keepers_agree=low_count <= keepers <= high_count,
        centre_s=centre,
        centre_interval_s=interval,
        predicted_centre_s=suggestion.draws.mean(expected),
        centre_allowed_s=allowed,
        centre_agrees=abs(centre) <= allowed,
        jitter_s=float(own.quantile(own.jitter_s(), 0.5)),
        predicted_jitter_s=suggestion.jitter_s,
        first=tuple(fresh.first.tolist()),
        outliers=tuple(fresh.outliers.tolist()),
        missed=tuple(fresh.missed.tolist()),
    )


def _centres_to_come(
    suggestion: OffsetSuggestion, fresh: Series, pause_s: float | None, *, known_times: bool
) -> Floats:
    """Centre of the skew at each fresh shot, offset on, for each draw, (d, k): the drift goes on."""
    span = suggestion.span_s if suggestion.span_s > 0 else 1.0
    pause = suggestion.spacing_s if pause_s is None else pause_s
    since_first = (fresh.x + 1.0) * fresh.span_s
    if not known_times:
        since_first = since_first * (suggestion.spacing_s if suggestion.spacing_s > 0 else 1.0)
    return suggestion.draws.level_at((pause + since_first) / span) - suggestion.offset_s


def _shares(suggestion: OffsetSuggestion, path: Floats) -> Floats:
    """Share within tolerance over the fresh shots in each draw, (d,)."""
    answered = len(suggestion.used) + len(suggestion.outliers)
    if suggestion.method == "kernel":
        # The smoothed shots know no parameters: move them along the drift, and blur by their uncertainty.
        moved = (path + suggestion.offset_s - suggestion.draws.level_s[:, None]).mean(axis=0)
        curve = np.interp(
            suggestion.offset_s - moved,
            suggestion.curve_offset_s,
            suggestion.curve_keepers,
            left=0.0,
            right=0.0,
        )
        here = np.interp(suggestion.offset_s, suggestion.curve_offset_s, suggestion.curve_keepers)
        rng = np.random.default_rng(answered)
        spread = suggestion.keepers_seen_u * rng.standard_normal(path.shape[0])
        return np.asarray(suggestion.keepers_seen * float(np.mean(curve)) / here + spread)
    inside = suggestion.draws.within(path, suggestion.tolerance_s).mean(axis=1)
    return np.asarray(inside * len(suggestion.used) / answered * suggestion.kept_share)


def _centre(
    suggestion: OffsetSuggestion, fresh: Series, own: LevelDraws, rng: np.random.Generator
) -> tuple[float, tuple[float, float], Floats]:
    """Centre of the fresh series, its interval, and its error redrawn to pair with the suggestion's draws."""
    if suggestion.method == "kernel":
        kernel = kernel_offset(fresh, own, suggestion.tolerance_s)
        return kernel.best_s, kernel.interval_s, np.zeros(suggestion.draws.level_s.size)
    centre = float(own.quantile(own.level_s, 0.5))
    low, high = own.quantile(own.level_s, (0.025, 0.975))
    error = rng.choice(own.level_s - centre, suggestion.draws.level_s.size, p=own.weight)
    return centre, (float(low), float(high)), np.asarray(error, dtype=np.float64)


def _half(interval: tuple[float, float]) -> float:
    return 0.5 * (interval[1] - interval[0])
