"""Seeded pairs of bodies whose truth is known, and an oracle to measure the estimator against.

Independent of the package: nothing here is imported from it, and probabilities are integrated numerically.
One body is gaussian, polling, drifting or answers its first shot differently; the other is gaussian, or in
three worlds of ten polling or first-shot too. Times in milliseconds throughout.

The oracle knows the family and every scale parameter: both gaussian parts, both polling periods, the
warm-up's time constant, and that the first shot differs where it does. It does not know the level nor the
size of the warm-up. Its interval is the central 95 % of the likelihood in the level (flat prior, so
Pitman's interval: exact coverage), which for gaussian scatter is least squares with z = 1.96.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

Floats = npt.NDArray[np.float64]

KINDS = ("gaussian", "polling", "drifting", "first-shot")
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(40)


@dataclass(frozen=True)
class Body:
    lag: float
    sigma: float
    period: float = 0.0
    change: float = 0.0
    constant: float = 1.0
    first: float = 0.0


@dataclass(frozen=True)
class World:
    seed: int
    kind: str
    shutter: str
    a: Body
    b: Body
    n: int
    fresh: int
    tolerance: float

    @property
    def sigma(self) -> float:
        return float(np.hypot(self.a.sigma, self.b.sigma))

    @property
    def scatter(self) -> float:
        return float(np.sqrt(self.sigma**2 + (self.a.period**2 + self.b.period**2) / 12.0))

    def centre(self, shot: npt.ArrayLike) -> Floats:
        k = np.asarray(shot, dtype=np.float64)
        sides = [b.lag + b.change * np.exp(-k / b.constant) for b in (self.a, self.b)]
        return np.asarray(sides[1] - sides[0])

    def skews(self, rng: np.random.Generator, begin: int, count: int, *, held: bool = False) -> Floats:
        """`count` skews from shot `begin` on; the first of them follows a rest. `held`: the warm-up stands
        still where it was just before `begin`."""
        shot = np.arange(begin, begin + count)
        skew = self.centre(np.full(count, begin - 1) if held else shot)
        for side, body in ((-1.0, self.a), (1.0, self.b)):
            part = body.sigma * rng.standard_normal(count) + body.period * rng.uniform(-0.5, 0.5, count)
            part[0] += body.first
            skew = skew + side * part
        return skew

    def keepers(self, distance: npt.ArrayLike) -> Floats:
        """True share within tolerance with the window this far off centre."""
        d = np.asarray(distance, dtype=np.float64)[..., None, None]
        shift = self.a.period / 2 * _NODES[:, None] + self.b.period / 2 * _NODES[None, :]
        inside = special.ndtr((self.tolerance + d - shift) / self.sigma) - special.ndtr(
            (-self.tolerance + d - shift) / self.sigma
        )
        return np.asarray((inside * _WEIGHTS[:, None] * _WEIGHTS[None, :]).sum(axis=(-1, -2)) / 4.0)

    def best_set(self) -> tuple[float, float]:
        """Offsets within half a point of the most keepers at the end of the series."""
        most = float(self.keepers(0.0))
        low, high = 0.0, 10.0 * self.scatter + self.tolerance
        for _ in range(40):
            middle = 0.5 * (low + high)
            low, high = (middle, high) if float(self.keepers(middle)) >= most - 0.005 else (low, middle)
        end = float(self.centre(self.n - 1))
        return end - low, end + low


def make_world(seed: int) -> World:
    rng = np.random.default_rng([2024, seed])
    kind = KINDS[seed % 4]
    shutter = ("focal-plane", "leaf")[(seed // 4) % 2]
    # What the shutter itself adds: a leaf's blades or a slit's width vary by about a per cent.
    own = 0.01 * (rng.uniform(1.0, 8.0) if shutter == "leaf" else rng.uniform(2.0, 16.0))
    other = rng.choice(["polling", "first-shot"]) if rng.uniform() < 0.3 else "gaussian"
    bodies = []
    for what in (kind, other):
        sigma = float(np.hypot(np.exp(rng.uniform(np.log(0.1), np.log(2.0))), own))
        sign = rng.choice([-1.0, 1.0])
        bodies.append(
            Body(
                lag=rng.uniform(20.0, 120.0),
                sigma=sigma,
                period=float(np.exp(rng.uniform(np.log(1.0), np.log(20.0)))) if what == "polling" else 0.0,
                change=sign * float(np.exp(rng.uniform(np.log(1.0), np.log(15.0))))
                if what == "drifting"
                else 0.0,
                constant=float(np.exp(rng.uniform(np.log(3.0), np.log(40.0)))) if what == "drifting" else 1.0,
                first=sign * rng.uniform(2.0, 30.0) if what == "first-shot" else 0.0,
            )
        )
    if rng.uniform() < 0.5:
        bodies.reverse()
    n, fresh = int(rng.integers(20, 61)), int(rng.integers(20, 61))
    bare = World(seed, kind, shutter, bodies[0], bodies[1], n, fresh, 1.0)
    tolerance = bare.scatter * float(np.exp(rng.uniform(np.log(0.6), np.log(5.0))))
    return World(seed, kind, shutter, bodies[0], bodies[1], n, fresh, tolerance)


def oracle_width(world: World, skew: Floats) -> float:
    """Width of the oracle's 95 % interval for the level at the end."""
    start = 1 if world.a.first or world.b.first else 0
    k = np.arange(start, world.n)
    y = skew[start:] - world.centre(world.n - 1)
    drifting = [b for b in (world.a, world.b) if b.change]
    basis = [np.exp(-k / b.constant) - np.exp(-(world.n - 1) / b.constant) for b in drifting]
    columns = np.stack([np.ones(k.size), *basis], axis=1)
    covariance = np.linalg.inv(columns.T @ columns)
    least_squares = 2 * 1.959964 * world.scatter * float(np.sqrt(covariance[0, 0]))
    if not (world.a.period or world.b.period):
        return least_squares
    fit = covariance @ columns.T @ y
    reach = 5.0 * world.scatter * np.sqrt(np.diag(covariance))
    level = fit[0] + np.linspace(-reach[0], reach[0], 801)
    change = fit[1] + np.linspace(-reach[1], reach[1], 61) if basis else np.zeros(1)
    total = np.zeros((level.size, change.size))
    table_x = np.linspace(-1.0, 1.0, 6001) * (world.a.period + world.b.period + 12 * world.sigma)
    table = _log_density(world, table_x)
    for i, shot in enumerate(y):
        move = change * basis[0][i] if basis else change
        total += np.interp(shot - level[:, None] - move, table_x, table)
    posterior = np.exp(total - total.max()).sum(axis=1)
    below = np.cumsum(posterior) / posterior.sum()
    low, high = np.interp([0.025, 0.975], below, level)
    return float(high - low)


def _log_density(world: World, x: Floats) -> Floats:
    shift = (world.a.period / 2 * _NODES[:, None] + world.b.period / 2 * _NODES[None, :]).ravel()
    weight = (_WEIGHTS[:, None] * _WEIGHTS[None, :]).ravel() / 4.0
    if world.a.period and world.b.period:
        z = (x[:, None] - shift) / world.sigma
        density = np.exp(-0.5 * z * z) @ weight / (world.sigma * np.sqrt(2 * np.pi))
    else:
        period = world.a.period + world.b.period
        density = (
            special.ndtr((x + period / 2) / world.sigma) - special.ndtr((x - period / 2) / world.sigma)
        ) / period
    return np.asarray(np.log(np.maximum(density, 1e-300)))
