"""Where a series of skews stands at its end, and how sure that is.

Model of shot k, `x` being time before the end as a fraction of the series (-1 at the start, 0 at the end):

    skew = level + change * warm_up(x) + sigma * normal + period * (uniform - 1/2)

`warm_up` falls from 1 at the start to 0 at the end, exponentially with one of `TIME_CONSTANTS` (fractions
of the series), or is absent. The uniform part is one of `HALVES` times sigma, or absent. No single choice
is picked: each is weighted by how well it explains the shots (its marginal likelihood), so a drift that the
data can neither show nor exclude widens the interval as far as it should. Within a choice, level and sigma
have the usual non-informative prior (flat, 1/sigma), which for a plain gaussian gives Student's t; the
change has a normal prior of `CHANGE_PRIOR` standard deviations of the scatter. The posterior is drawn by
importance sampling (JCGM 101:2008, propagation by Monte Carlo), with a fixed seed: the same file gives the
same answer.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy import special

from coincide.timing.offset.shape import deviation, log_density, probability_below, slope_and_curvature

Floats = npt.NDArray[np.float64]

# A third apart: coarser, a large drift that falls between two of them passes for scatter.
TIME_CONSTANTS = (0.05, 0.065, 0.085, 0.11, 0.14, 0.18, 0.23, 0.3, 0.39, 0.5, 0.65, 0.85, 1.1, 1.5)
HALVES = (0.0, 1.5, 2.5, 4.0, 6.0, 9.0, 14.0, 25.0, 50.0)
CHANGE_PRIOR = 6.0
LARGEST_EXPONENT = 700.0
DRIFT_PRIOR = 0.15
POLLING_PRIOR = 0.5
MOST_SHOTS = 600
DRAWS = 3000
WIDENINGS = (2.0, 6.0, 18.0)  # of the proposal's covariance
LEAST_EFFECTIVE = 250.0  # effective draws: 1 / sum of squared weights
_EVALUATIONS = 1_500_000
_HEAVY = 5.0  # degrees of freedom of the proposal: heavier tails than any posterior here


@dataclass(frozen=True, slots=True)
class LevelDraws:
    """Weighted draws from the posterior; arrays (d,), weights sum to 1, seconds.

    level_s: centre at the end of the series. change_s: drift from start to end (start minus end); zero
    where the draw has none. time_constant: of that drift, as a fraction of the series; infinite where none.
    sigma_s: gaussian part. half: half the uniform part over sigma. lead: log evidence of all choices together over
    that of a plain gaussian with a steady centre. ahead_s: how far the centre may move with each further shot, or
    empty where no draw lets it. structured: how many draws, the last ones, are of a structure in time (structure.py).
    """

    level_s: Floats
    change_s: Floats
    time_constant: Floats
    sigma_s: Floats
    half: Floats
    weight: Floats
    lead: float = 0.0
    ahead_s: Floats = field(default_factory=lambda: np.zeros(0))
    structured: int = 0

    def jitter_s(self) -> Floats:
        """Standard deviation of the scatter in each draw, (d,)."""
        return self.sigma_s * deviation(self.half)

    def level_at(self, x: Floats) -> Floats:
        """Centre at x (k,), fractions of the series after its end; (d, k)."""
        shape = warm_up(np.asarray(x, dtype=np.float64)[None, :], self.time_constant[:, None])
        return np.asarray(self.level_s[:, None] + self.change_s[:, None] * shape, dtype=np.float64)

    def wandered(self, shots: int, rng: np.random.Generator) -> Floats | float:
        """How far the centre may have moved at each of so many further shots in each draw, (d, shots), beyond
        `level_at`; 0.0 where it does not wander."""
        if not self.ahead_s.any():
            return 0.0
        steps = rng.standard_normal((self.level_s.size, shots))
        return np.asarray(self.ahead_s[:, None] * np.cumsum(steps, axis=1), dtype=np.float64)

    def within(self, centre_s: Floats, tolerance_s: float) -> Floats:
        """Probability that a shot falls within +-tolerance of zero when its centre is `centre_s`, (d,
        ...)."""
        extra = (1,) * (centre_s.ndim - 1)
        sigma = self.sigma_s.reshape(-1, *extra)
        half = self.half.reshape(-1, *extra)
        above = probability_below((tolerance_s - centre_s) / sigma, half)
        below = probability_below((-tolerance_s - centre_s) / sigma, half)
        return np.asarray(above - below, dtype=np.float64)

    def thinned(self, count: int) -> LevelDraws:
        """So many draws of equal weight that stand for all: systematic sampling, for what a drawing needs."""
        kept = _spread(self.weight, count)
        return replace(
            self,
            level_s=self.level_s[kept],
            change_s=self.change_s[kept],
            time_constant=self.time_constant[kept],
            sigma_s=self.sigma_s[kept],
            half=self.half[kept],
            weight=np.full(count, 1.0 / count),
            ahead_s=self.ahead_s[kept] if self.ahead_s.size else self.ahead_s,
            structured=0,
        )

    def quantile(self, value: Floats, probability: float | tuple[float, ...]) -> Floats:
        """Weighted quantiles of any per-draw value."""
        order = np.argsort(value)
        reached = np.cumsum(self.weight[order]) - 0.5 * self.weight[order]
        return np.asarray(np.interp(np.asarray(probability), reached, value[order]), dtype=np.float64)

    def mean(self, value: Floats) -> float:
        return float(self.weight @ value)


def warm_up(x: Floats, time_constant: Floats) -> Floats:
    """1 at x = -1, 0 at x = 0, exponential between and beyond; zero for an infinite time constant."""
    rate = 1.0 / np.asarray(time_constant, dtype=np.float64)
    moving = rate > 0
    safe = np.where(moving, rate, 1.0)
    # A file may say that a pair came an age before the first: no number is as large as that exponential.
    before = np.minimum(-x * safe, LARGEST_EXPONENT)
    return np.asarray(np.where(moving, np.expm1(before) / np.expm1(safe), 0.0), dtype=np.float64)


def draw_level(skew_s: Floats, x: Floats, *, drift_prior: float = DRIFT_PRIOR, seed: int = 516) -> LevelDraws:
    """Posterior draws of the level at x = 0 for skews (n,) at times x (n,), n >= 3.

    `drift_prior` is the probability of a drift before looking; 0 allows none. The last MOST_SHOTS shots are
    used. Time O(choices * n + draws * n).
    """
    if skew_s.size > MOST_SHOTS:
        skew_s, x = skew_s[-MOST_SHOTS:], x[-MOST_SHOTS:]
    rng = np.random.default_rng(seed)
    middle, scale = float(np.median(skew_s)), float(np.std(skew_s))
    y = (skew_s - middle) / scale
    choices = _Choices.of(x, drift_prior)
    mode, covariance, evidence = _modes(y, choices)
    chance = special.softmax(evidence)
    chance[chance < 1e-4 * chance.max()] = 0.0
    tempered = chance**0.7
    draws = int(np.clip(_EVALUATIONS // y.size, 800, DRAWS))
    picked = _spread(tempered / tempered.sum(), draws)
    # Near a rectangle's edge the posterior is broader than its curvature says: propose wider until it is
    # covered.
    for widen in WIDENINGS:
        point, log_proposal = _propose(
            rng, mode[picked], widen * covariance[picked], choices.drifting[picked]
        )
        target = _log_posterior(point, y, choices.pick(picked))
        log_weight = np.where(point[:, 0] > 0, target - log_proposal - np.log(tempered[picked]), -np.inf)
        weight = np.exp(log_weight - log_weight.max())
        if weight.sum() ** 2 >= LEAST_EFFECTIVE * (weight**2).sum():
            break
    sigma = 1.0 / np.where(point[:, 0] > 0, point[:, 0], 1.0)
    return LevelDraws(
        level_s=middle + scale * point[:, 1] * sigma,
        change_s=scale * point[:, 2] * sigma,
        time_constant=choices.time_constant[picked],
        sigma_s=scale * sigma,
        half=choices.half[picked],
        weight=weight / weight.sum(),
        # The first choice is the plain gaussian.
        lead=float(special.logsumexp(evidence) - evidence[0] + choices.log_prior[0]),
    )


@dataclass(frozen=True, slots=True)
class _Choices:
    """Every pair of warm-up and shape; c choices. `basis` (c, n) is the warm-up at each shot."""

    half: Floats
    time_constant: Floats
    basis: Floats
    log_prior: Floats

    @property
    def drifting(self) -> npt.NDArray[np.bool_]:
        return np.isfinite(self.time_constant)

    @staticmethod
    def of(x: Floats, drift_prior: float) -> _Choices:
        constants = np.array([np.inf, *TIME_CONSTANTS] if drift_prior > 0 else [np.inf])
        half = np.tile(np.array(HALVES), constants.size)
        time_constant = np.repeat(constants, len(HALVES))
        drifting = np.isfinite(time_constant)
        prior = np.where(drifting, drift_prior / len(TIME_CONSTANTS), 1.0 - drift_prior)
        prior = prior * np.where(half > 0, POLLING_PRIOR / (len(HALVES) - 1), 1.0 - POLLING_PRIOR)
        return _Choices(half, time_constant, warm_up(x[None, :], time_constant[:, None]), np.log(prior))

    def pick(self, index: npt.NDArray[np.intp]) -> _Choices:
        return _Choices(self.half[index], self.time_constant[index], self.basis[index], self.log_prior[index])


def _log_posterior(point: Floats, y: Floats, choices: _Choices) -> Floats:
    """Log of prior times likelihood at points (c, 3) = (1/sigma, level/sigma, change/sigma), one a choice."""
    inverse = np.maximum(point[:, 0], 1e-9)
    z = inverse[:, None] * y - point[:, 1, None] - point[:, 2, None] * choices.basis
    likelihood = log_density(z, choices.half[:, None]).sum(axis=1) + y.size * np.log(inverse)
    spread = CHANGE_PRIOR * deviation(choices.half)
    change = -0.5 * (point[:, 2] / spread) ** 2 - np.log(spread) - 0.5 * np.log(2.0 * np.pi)
    # dlevel dsigma / sigma becomes d(level/sigma) d(1/sigma) times sigma**2.
    return np.asarray(
        likelihood - 2.0 * np.log(inverse) + np.where(choices.drifting, change, 0.0) + choices.log_prior
    )


def _modes(y: Floats, choices: _Choices) -> tuple[Floats, Floats, Floats]:
    """Posterior mode (c, 3), covariance there (c, 3, 3) and Laplace's log evidence (c,), by damped Newton.

    The log likelihood is concave in these coordinates, so a step that does not climb is halved.
    """
    count = choices.half.size
    free = np.stack([np.ones(count), np.ones(count), choices.drifting.astype(np.float64)], axis=1)
    point = _first_guess(y, choices)
    value = _log_posterior(point, y, choices)
    for _ in range(40):
        gradient, hessian = _derivatives(point, y, choices)
        step = np.linalg.solve(hessian, gradient[:, :, None])[:, :, 0] * free
        length = np.ones(count)
        # 1/sigma stays positive: at most nine tenths of the way down.
        drop = step[:, 0] < -0.9 * point[:, 0]
        length[drop] = -0.9 * point[drop, 0] / step[drop, 0]
        for _ in range(12):
            trial = point + length[:, None] * step
            new = _log_posterior(trial, y, choices)
            worse = new < value - 1e-9
            if not worse.any():
                break
            length = np.where(worse, 0.3 * length, length)
        better = new >= value
        gain = np.where(better, new - value, 0.0)
        point = np.where(better[:, None], trial, point)
        value = np.where(better, new, value)
        if gain.max() < 1e-4:
            break
    _, hessian = _derivatives(point, y, choices)
    covariance = np.linalg.inv(hessian)
    dimension = np.where(choices.drifting, 3, 2)
    sign, log_determinant = np.linalg.slogdet(hessian)
    evidence = value - 0.5 * sign * log_determinant + 0.5 * dimension * np.log(2.0 * np.pi)
    return point, np.asarray(covariance, dtype=np.float64), np.asarray(evidence, dtype=np.float64)


def _first_guess(y: Floats, choices: _Choices) -> Floats:
    """Least squares for each warm-up, sigma from the residual."""
    ones = np.ones_like(y)
    point = np.empty((choices.half.size, 3))
    for constant in np.unique(choices.time_constant):
        rows = np.flatnonzero(choices.time_constant == constant)
        basis = choices.basis[rows[0]]
        columns = np.stack([ones, basis], axis=1) if np.isfinite(constant) else ones[:, None]
        fit = np.linalg.lstsq(columns, y, rcond=None)[0]
        rest = y - columns @ fit
        reach = np.maximum(np.max(np.abs(rest)), 1e-6)
        # A wide rectangle must hold all shots, or the start is so far down the tail that Newton crawls.
        sigma = np.maximum(np.std(rest) / deviation(choices.half[rows]), reach / (choices.half[rows] + 2.5))
        point[rows, 0] = 1.0 / sigma
        point[rows, 1] = fit[0] / sigma
        point[rows, 2] = (fit[1] if np.isfinite(constant) else 0.0) / sigma
    return point


def _derivatives(point: Floats, y: Floats, choices: _Choices) -> tuple[Floats, Floats]:
    """Gradient (c, 3) of the log posterior and minus its second derivatives (c, 3, 3), kept invertible."""
    inverse = point[:, 0]
    half = choices.half[:, None]
    z = inverse[:, None] * y - point[:, 1, None] - point[:, 2, None] * choices.basis
    slope, curvature = slope_and_curvature(z, half, log_density(z, half))
    by = np.stack(
        [np.broadcast_to(y, z.shape), np.broadcast_to(-1.0, z.shape), -choices.basis], axis=1
    )  # (c, 3, n): how z moves with each coordinate
    gradient = (by * slope[:, None, :]).sum(axis=2)
    hessian = -np.einsum("cin,cn,cjn->cij", by, curvature, by)
    gradient[:, 0] += (y.size - 2.0) / inverse
    hessian[:, 0, 0] += (y.size - 2.0) / inverse**2
    spread = (CHANGE_PRIOR * deviation(choices.half)) ** 2
    gradient[:, 2] = np.where(choices.drifting, gradient[:, 2] - point[:, 2] / spread, 0.0)
    hessian[:, 2, 2] += np.where(choices.drifting, 1.0 / spread, 0.0)
    still = ~choices.drifting
    hessian[still, 2, :] = 0.0
    hessian[still, :, 2] = 0.0
    hessian[still, 2, 2] = 1.0
    # A rectangle with no shot near its edges leaves the level free over a little: a whiff of curvature.
    hessian[:, 1, 1] += 1e-3
    return gradient, hessian


def _spread(chance: Floats, draws: int) -> npt.NDArray[np.intp]:
    """Systematic sampling: each choice gets its share of the draws to within one."""
    edges = np.cumsum(chance)
    return np.minimum(np.searchsorted(edges, (np.arange(draws) + 0.5) / draws), chance.size - 1)


def _propose(
    rng: np.random.Generator, mode: Floats, covariance: Floats, drifting: npt.NDArray[np.bool_]
) -> tuple[Floats, Floats]:
    """One Student-t draw about each mode, (d, 3), and the log density it was drawn with."""
    dimension = np.where(drifting, 3, 2)
    root = np.linalg.cholesky(covariance)
    normal = rng.standard_normal(mode.shape)
    normal[~drifting, 2] = 0.0
    stretch = np.sqrt(_HEAVY / rng.chisquare(_HEAVY, mode.shape[0]))
    unit = normal * stretch[:, None]
    point = mode + np.einsum("dij,dj->di", root, unit)
    squared = (unit * unit).sum(axis=1)
    diagonal = np.log(np.abs(np.diagonal(root, axis1=1, axis2=2)))
    log_root = diagonal[:, 0] + diagonal[:, 1] + np.where(drifting, diagonal[:, 2], 0.0)
    log_density_t = (
        special.gammaln(0.5 * (_HEAVY + dimension))
        - special.gammaln(0.5 * _HEAVY)
        - 0.5 * dimension * np.log(_HEAVY * np.pi)
        - 0.5 * (_HEAVY + dimension) * np.log1p(squared / _HEAVY)
        - log_root
    )
    return point, log_density_t
