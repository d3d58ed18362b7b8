"""Structure in time: where the centre is at the end of a series whose shots are not independent of their order.

Beside the steady centre and the warm-up of level.py stand these ways for n shots to be spread about their centre
(GUM 4.2.7: repeated observations that are correlated need another treatment than independent ones):

    wanders    a local level: the centre takes a random step before each shot (Harvey 1989, chapter 2, memory)
    trend      a polynomial of the first to third degree
    swings     one sine
    steps      one level up to some shot, another after it
    alike      a steady centre with scatter that neighbouring shots share, autoregressive of the first order

Each is weighed by how well it explains the shots. All are gaussian with the level flat and sigma with 1/sigma, every
other coefficient normal with one of `SPREADS` sigmas, so the evidence of each choice is a formula. The local level is
diagonal in the cosine transform (the path graph's Laplacian), and so nearly is the autoregression (Whittle 1953,
memory): a hundred choices cost no more than a sort. The sine's sums are fast Fourier transforms of the shots and of
ones.

Tails heavier than normal look like structure to a gaussian: one is only named where the normal scores of the shots
speak for it as well.

Priors and `SHARPENED` were chosen on worlds other than those of the tests: a steady series must not pay for what it
does not show, so the odds of any structure against none count with this power.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy import special, stats
from scipy.fft import dct

from coincide.timing.offset.level import MOST_SHOTS, LevelDraws

Floats = npt.NDArray[np.float64]

KINDS = ("wanders", "trend", "swings", "steps", "alike")
UNNAMED = "unnamed"  # the shots depend on their order, and none of KINDS explains them (suggest.py)
PRIORS = (0.06, 0.03, 0.02, 0.02, 0.03)
NONE = 1.0 - sum(PRIORS)
SHARPENED = 2.0
SPREADS = (2.0, 12.0)  # sigmas: prior of a coefficient, half of them small, half large
WALKS = tuple(np.geomspace(1e-3, 30.0, 12).tolist())  # variance of a step of the walk over the scatter's
LIKENESS = (0.3, 0.5, 0.7, 0.85, 0.95)  # correlation from shot to shot of the shared part
SHARED = (0.3, 0.6, 1.0)  # part of the variance that is shared
DEGREES = (1, 2, 3)
FINENESS = 32  # frequencies a cycle over the series
LEAST_SHOTS = 8
DRAWS = 1000
NEGLIGIBLE = 0.01


@dataclass(frozen=True, slots=True)
class Ways:
    """One row a choice. log_evidence: over that of a plain gaussian with a steady centre, its prior included. level_s:
    centre at the end; variance: of that centre, over sigma squared; squares: what sigma squared is a chi-squared's
    part of. ahead_s: how far the centre may move with each further shot, over sigma where `relative`. place: first
    shot after a step, else -1."""

    kind: npt.NDArray[np.intp]
    log_evidence: Floats
    level_s: Floats
    variance: Floats
    squares: Floats
    ahead_s: Floats
    place: npt.NDArray[np.intp]
    dof: int

    @property
    def log_chance(self) -> float:
        return float(special.logsumexp(self.log_evidence))

    def share(self) -> Floats:
        return np.asarray(special.softmax(self.log_evidence), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Structure:
    """What a series shows of structure in time. chance: that there is any; lead: by how many nats it explains the shots
    better than the fitted shapes do without, or their normal scores better than no structure does, priors included;
    kind: the likeliest of KINDS, or UNNAMED; shot: row in the used shots of the first after a step, else None;
    change_s: of that step."""

    chance: float
    lead: float
    kind: str
    shot: int | None
    change_s: float


def with_structure(draws: LevelDraws, skew_s: Floats) -> tuple[LevelDraws, Structure | None]:
    """The draws of `draw_level` joined by draws of every structure, in proportion to the evidence for it; what was
    found, or None where nothing speaks for any."""
    y = skew_s[-MOST_SHOTS:]
    if y.size < LEAST_SHOTS or not np.ptp(y) > 0:
        return draws, None
    ways = other_ways(y)
    lead = ways.log_chance - float(np.log(NONE)) - draws.lead
    chance = float(special.expit(SHARPENED * lead))
    if chance < NEGLIGIBLE:
        return draws, None
    share = ways.share()
    rng = np.random.default_rng(1968)
    picked = np.minimum(np.searchsorted(np.cumsum(share), (np.arange(DRAWS) + 0.5) / DRAWS), share.size - 1)
    sigma = np.sqrt(ways.squares[picked] / rng.chisquare(ways.dof, DRAWS))
    level = ways.level_s[picked] + sigma * np.sqrt(ways.variance[picked]) * rng.standard_normal(DRAWS)
    joined = replace(
        draws,
        level_s=np.concatenate([draws.level_s, level]),
        change_s=np.concatenate([draws.change_s, np.zeros(DRAWS)]),
        time_constant=np.concatenate([draws.time_constant, np.full(DRAWS, np.inf)]),
        sigma_s=np.concatenate([draws.sigma_s, sigma]),
        half=np.concatenate([draws.half, np.zeros(DRAWS)]),
        weight=np.concatenate([draws.weight * (1.0 - chance), np.full(DRAWS, chance / DRAWS)]),
        ahead_s=np.concatenate([np.zeros(draws.level_s.size), sigma * ways.ahead_s[picked]]),
        structured=DRAWS,
    )
    of_kind = np.bincount(ways.kind, share, len(KINDS))
    kind = int(np.argmax(of_kind))
    place, change = None, 0.0
    if KINDS[kind] == "steps":
        rows = np.flatnonzero(ways.kind == kind)
        inside = int(ways.place[rows[np.argmax(share[rows])]])
        place, change = skew_s.size - y.size + inside, float(np.mean(y[inside:]) - np.mean(y[:inside]))
    named = min(lead, other_ways(_normal_scores(y)).log_chance - float(np.log(NONE)))
    return joined, Structure(chance, named, KINDS[kind], place, change)


def _normal_scores(y: Floats) -> Floats:
    """What normal shots (n,) of the same order would be (Blom's scores, memory). A few far shots of a heavy tail that
    lie together are a step to a gaussian; to their ranks they are a few shots."""
    return np.asarray(special.ndtri((stats.rankdata(y) - 0.375) / (y.size + 0.25)), dtype=np.float64)


def other_ways(y: Floats) -> Ways:
    """Every choice of every structure for shots (n,), n >= LEAST_SHOTS. Time O(n log n)."""
    rows = [wanders(y), _trend(y), _swings(y), _steps(y), _alike(y)]
    return Ways(
        kind=np.repeat(np.arange(len(KINDS)), [row.level_s.size for row in rows]),
        log_evidence=np.concatenate(
            [
                np.log(prior / row.level_s.size) + row.log_evidence(y)
                for prior, row in zip(PRIORS, rows, strict=True)
            ]
        ),
        level_s=np.concatenate([row.level_s for row in rows]),
        variance=np.concatenate([row.variance for row in rows]),
        squares=np.concatenate([row.squares for row in rows]),
        ahead_s=np.concatenate([row.ahead for row in rows]),
        place=np.concatenate([row.place for row in rows]),
        dof=y.size - 1,
    )


@dataclass(frozen=True, slots=True)
class Rows:
    """Choices of one structure; ahead in sigmas a shot. log_volume: less half the log determinants, priors'
    included."""

    log_volume: Floats
    squares: Floats
    level_s: Floats
    variance: Floats
    ahead: Floats
    place: npt.NDArray[np.intp]

    def log_evidence(self, y: Floats) -> Floats:
        """Of each choice, over that of a plain gaussian with a steady centre, for the shots (n,) it was made of."""
        plain = float(np.log(np.sum((y - y.mean()) ** 2)))
        return np.asarray(self.log_volume - 0.5 * (y.size - 1) * (np.log(self.squares) - plain))

    @staticmethod
    def of(log_volume: Floats, squares: Floats, level_s: Floats, variance: Floats, ahead: Floats) -> Rows:
        """Rows of any shape, without a place."""
        nowhere = np.full(level_s.size, -1)
        return Rows(
            log_volume.ravel(), squares.ravel(), level_s.ravel(), variance.ravel(), ahead.ravel(), nowhere
        )


def wanders(y: Floats) -> Rows:
    """A row for each of WALKS, for shots (n,)."""
    n, walk = y.size, np.array(WALKS)[:, None]
    k = np.arange(1, n)
    z = dct(y, norm="ortho")[1:]
    moved = walk / (4.0 * np.sin(0.5 * np.pi * k / n) ** 2)
    total = 1.0 + moved
    at_end = np.sqrt(2.0 / n) * np.cos(np.pi * k * (2 * n - 1) / (2 * n))
    return Rows.of(
        -0.5 * np.log(total).sum(axis=1),
        (z * z / total).sum(axis=1),
        y.mean() + (at_end * moved / total * z).sum(axis=1),
        1.0 / n + (at_end**2 * moved / total).sum(axis=1),
        np.sqrt(np.array(WALKS)),
    )


def _alike(y: Floats) -> Rows:
    """The centre is steady: its uncertainty is that of a mean of correlated shots, exactly."""
    n = y.size
    k, gap = np.arange(1, n), np.arange(1, n)
    z = dct(y, norm="ortho")[1:]
    phi, part = (each.reshape(-1, 1) for each in np.meshgrid(LIKENESS, SHARED))
    spectrum = (1.0 - phi**2) / (1.0 + phi**2 - 2.0 * phi * np.cos(np.pi * k / n))
    total = 1.0 - part + part * spectrum
    pairs = 2.0 * ((n - gap) * phi**gap).sum(axis=1) / n**2
    return Rows.of(
        -0.5 * np.log(total).sum(axis=1),
        (z * z / total).sum(axis=1),
        np.full(phi.size, y.mean()),
        1.0 / n + part[:, 0] * pairs,
        np.zeros(phi.size),
    )


def _trend(y: Floats) -> Rows:
    n = y.size
    u = np.linspace(-1.0, 1.0, n)
    columns = np.stack([special.eval_legendre(degree, u) for degree in DEGREES])
    found = []
    for degree, spread in product(DEGREES, SPREADS):
        basis = columns[:degree] - columns[:degree].mean(axis=1, keepdims=True)
        precision = basis @ basis.T + np.eye(degree) / spread**2
        right = basis @ (y - y.mean())
        fit = np.linalg.solve(precision, right)
        end = basis[:, -1]
        found.append(
            (
                -0.5 * np.linalg.slogdet(precision)[1] - degree * np.log(spread),
                np.sum((y - y.mean()) ** 2) - fit @ right,
                y.mean() + end @ fit,
                1.0 / n + end @ np.linalg.solve(precision, end),
                abs(float(fit @ (basis[:, -1] - basis[:, -2]))),
            )
        )
    volume, squares, level, variance, speed = np.array(found, dtype=np.float64).T
    return Rows.of(volume, squares, level, variance, speed / np.sqrt(squares / n))


def _swings(y: Floats) -> Rows:
    """Half a cycle over the series up to one in three shots; time counts back from the end."""
    n = y.size
    pad = FINENESS * n
    j = np.arange(FINENESS // 2, pad // 3)
    rest = y - y.mean()
    shots, ones = np.fft.fft(rest[::-1], pad)[j], np.fft.fft(np.ones(n), pad)
    one, two = ones[j], ones[2 * j]
    cosines, sines = one.real, -one.imag
    spread = np.array(SPREADS)[:, None]
    aa = 0.5 * (n + two.real) - cosines**2 / n + 1.0 / spread**2
    bb = 0.5 * (n - two.real) - sines**2 / n + 1.0 / spread**2
    ab = -0.5 * two.imag - cosines * sines / n
    determinant = aa * bb - ab * ab
    right_a, right_b = shots.real, -shots.imag
    fit_a, fit_b = (bb * right_a - ab * right_b) / determinant, (aa * right_b - ab * right_a) / determinant
    end_a, end_b = 1.0 - cosines / n, -sines / n
    squares = np.sum(rest**2) - fit_a * right_a - fit_b * right_b
    return Rows.of(
        -0.5 * np.log(determinant) - 2.0 * np.log(spread),
        squares,
        y.mean() + end_a * fit_a + end_b * fit_b,
        1.0 / n + (bb * end_a**2 - 2.0 * ab * end_a * end_b + aa * end_b**2) / determinant,
        np.hypot(fit_a, fit_b) * np.minimum(2.0 * np.pi * j / pad, 1.0) / np.sqrt(squares / n),
    )


def _steps(y: Floats) -> Rows:
    """Before each shot but the first two and the last."""
    n = y.size
    place = np.arange(2, n - 1)
    rest = y - y.mean()
    after = rest.sum() - np.cumsum(rest)[place - 1]
    spread = np.array(SPREADS)[:, None]
    precision = place * (n - place) / n + 1.0 / spread**2
    return Rows(
        (-0.5 * np.log(precision) - np.log(spread)).ravel(),
        (np.sum(rest**2) - after**2 / precision).ravel(),
        (y.mean() + after / precision * place / n).ravel(),
        (1.0 / n + (place / n) ** 2 / precision).ravel(),
        np.zeros(precision.size),
        np.tile(place, len(SPREADS)),
    )
