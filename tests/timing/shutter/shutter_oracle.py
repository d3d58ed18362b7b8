"""The best that could be done in a shutter world by someone who knows every law the truth was drawn from.

For the claims of one world (its rig file, as it were) the oracle draws as many truths as it likes from the laws of
the generator, works out what the sensors would have seen of each, and fits the wanted quantity to what was seen. What
the fit leaves is the error of an estimator that could not know more; the half-width that holds 95 % of it is the
oracle's. It shares nothing with the package: curtains by their motion, light on the sensor as an area, the sensor's
low pass step by step, the comparator by search.

Milliseconds and millimetres throughout. A release lag may be anything beforehand, so quantities that contain it are
fitted relative to the first edge seen.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.timing.shutter.shutter_worlds import MARKED, Sensor, ShutterWorld

Floats = npt.NDArray[np.float64]

DRAWS = 240
LEAST_DRAWS = 60
WINDOW = 220  # points in the grid about each edge
QUANTITIES = ("lag", "exposure", "travel")


@dataclass(frozen=True)
class Truths:
    """Truths that could lie behind one set of claims, (DRAWS,) each."""

    exposure: Floats
    travel: Floats
    curve: Floats
    opening: Floats
    closing: Floats


@dataclass(frozen=True)
class Body:
    """What an oracle would be off by, (draws,): NaN where it could not be told. `lag` is mid-exposure at frame
    centre after full-press."""

    lag: Floats
    exposure: Floats
    travel: Floats


def half_width(errors: Floats) -> float:
    """What holds 95 % of the errors."""
    known = errors[np.isfinite(errors)]
    return float(np.quantile(np.abs(known), 0.95)) if known.size else float("nan")


def oracle_errors(world: ShutterWorld, length: float, shots: int, rng: np.random.Generator) -> Body:
    """Errors of the best estimator of each quantity, given what the world's claims are and which sensors it has."""
    truth = _draw(world, rng)
    seen = _observed(world, truth, length, shots, rng)
    nothing = np.full(DRAWS, np.nan)
    good = np.asarray(np.isfinite(seen).all(axis=1))
    if seen.shape[1] == 0 or good.sum() < LEAST_DRAWS:
        return Body(nothing, nothing, nothing)
    centre = truth.opening / 2 if world.kind == "leaf" else truth.travel * (1 - truth.curve)
    gated = bool(world.sensors)
    two = len(world.sensors) == 2
    return Body(
        _left(centre + truth.exposure / 2 - seen[:, 0], seen, good),
        _left(truth.exposure, seen, good) if gated else nothing,
        _left(truth.travel, seen, good) if two else nothing,
    )


def _left(wanted: Floats, seen: Floats, good: npt.NDArray[np.bool_]) -> Floats:
    """What least squares on the edges' distances, and their products two by two, leaves of `wanted`."""
    x = seen[good][:, 1:] - seen[good][:, :1]
    x = (x - x.mean(axis=0)) / np.maximum(x.std(axis=0), 1e-12)
    columns = x.shape[1]
    products = [x[:, i] * x[:, j] for i in range(columns) for j in range(i, columns)]
    basis = np.column_stack([np.ones(good.sum()), x, *products])
    solved, *_ = np.linalg.lstsq(basis, wanted[good], rcond=1e-10)
    # As many fitted constants as columns make the rest look better than it is.
    rest = (wanted[good] - basis @ solved) * np.sqrt(good.sum() / (good.sum() - basis.shape[1]))
    out = np.full(wanted.size, np.nan)
    out[good] = rest
    return out


def _draw(world: ShutterWorld, rng: np.random.Generator) -> Truths:
    def within(claimed: float, spread: float, low: float, high: float) -> Floats:
        """Truths that a claim `spread` off, relatively, may have come from."""
        drawn = claimed / (1 + spread * rng.standard_normal(20 * DRAWS))
        drawn = drawn[(drawn >= low) & (drawn <= high)]
        return (
            drawn[:DRAWS]
            if drawn.size >= DRAWS
            else np.resize(np.append(drawn, np.clip(claimed, low, high)), DRAWS)
        )

    exposure = MARKED[world.marked] * 2 ** rng.uniform(-1 / 3, 1 / 3, DRAWS)
    travel = within(world.claimed_travel, 0.05, 2.0, 16.0)
    if world.kind != "leaf" and world.sensing in ("both", "sync"):
        travel = np.minimum(travel, 0.9 * exposure)
    curve = np.clip(world.claimed_curve + 0.08 * rng.standard_normal(DRAWS), 0.2930, 0.55)
    opening = within(world.claimed_opening, 0.10, 1.0, 8.0)
    closing = within(world.claimed_closing, 0.10, 1.0, 8.0)
    return Truths(exposure, travel, curve, opening, closing)


def _observed(
    world: ShutterWorld, truth: Truths, length: float, shots: int, rng: np.random.Generator
) -> Floats:
    """Mean edges over the shots, (draws, edges): opening and closing of each sensor, then the contact; after
    full-press less the lag."""
    start = world.sigma / np.sqrt(shots) * rng.standard_normal(DRAWS)
    longer = 0.003 * truth.exposure / np.sqrt(shots) * rng.standard_normal(DRAWS)
    columns = []
    for sensor in world.sensors:
        opened, closed = crossings(world.kind, truth, sensor, length, rng)
        columns += [start + opened, start + longer + closed]
    if world.sensing in ("both", "sync"):
        ideal = truth.opening if world.kind == "leaf" else truth.travel
        contact = rng.uniform(-1.0, 1.0, DRAWS) + 0.005 + rng.uniform(-0.005, 0.005, DRAWS)
        columns.append(start + ideal + contact)
    return np.column_stack(columns) if columns else np.empty((DRAWS, 0))


def crossings(
    kind: str, truth: Truths, sensor: Sensor, length: float, rng: np.random.Generator | None
) -> tuple[Floats, Floats]:
    """When the comparator turns on and off after the shutter starts, (n,); NaN where it never does. `rng` None: a
    sensor just as it is; else one that could lie behind its claims."""
    n = truth.exposure.size
    if rng is None:
        threshold, rise = np.full(n, sensor.threshold), np.full(n, sensor.rise)
        on, off = np.full(n, sensor.delay_on), np.full(n, sensor.delay_off)
    else:
        threshold = np.clip(0.5 + 0.05 * rng.standard_normal(n), 0.3, 0.7)
        rise = sensor.claimed_rise * np.clip(1 + 0.3 * rng.standard_normal(n), 0.3, 2.0)
        on = sensor.claimed_delay_on + rng.uniform(-0.005, 0.005, n)
        off = sensor.claimed_delay_off + rng.uniform(-0.005, 0.005, n)
    if kind == "leaf":
        opens, closes = (
            _ramp(np.zeros(n), truth.opening),
            _ramp(truth.exposure + (truth.opening - truth.closing) / 2, truth.closing),
        )
    else:
        half = 0.5 * sensor.width / length
        low, high = max(sensor.position - half, 0.0), min(sensor.position + half, 1.0)
        opens = _passage(truth, np.zeros(n), low, high)
        closes = _passage(truth, truth.exposure, low, high)
    tail = np.linspace(0.0, 16.0, WINDOW // 2) * (rise / np.log(9.0))[:, None]
    grids = [np.concatenate([edge.time, edge.time[:, -1:] + tail], axis=1) for edge in (opens, closes)]
    t = np.sort(np.concatenate(grids, axis=1), axis=1)
    light = opens.at(t) - closes.at(t)
    seen = _low_passed(t, light, rise / np.log(9.0))
    above = seen >= threshold[:, None]
    ever = above.any(axis=1)
    first = np.maximum(np.argmax(above, axis=1), 1)
    last = np.minimum(t.shape[1] - 2, t.shape[1] - 1 - np.argmax(above[:, ::-1], axis=1))
    opened = _between(t, seen, first - 1, threshold) + on
    closed = _between(t, seen, last, threshold) + off
    return np.where(ever, opened, np.nan), np.where(ever, closed, np.nan)


@dataclass(frozen=True)
class _Edge:
    """How much of a sensor an edge has passed, 0 to 1, at the times of a grid (n, points); straight between them."""

    time: Floats
    share: Floats

    def at(self, t: Floats) -> Floats:
        return np.stack(
            [np.interp(row, own, share) for row, own, share in zip(t, self.time, self.share, strict=True)]
        )


def _ramp(begin: Floats, takes: Floats) -> _Edge:
    """Blades, evenly."""
    share = np.linspace(0.0, 1.0, WINDOW)
    return _Edge(begin[:, None] + takes[:, None] * share, np.broadcast_to(share, (begin.size, WINDOW)))


def _passage(truth: Truths, begin: Floats, low: float, high: float) -> _Edge:
    """A curtain over a sensor from `low` to `high`. Its speed v and acceleration a, in frames and travels, are those
    that bring it to the centre at 1 - curve and over the frame at 1: v t + a t**2 / 2 = p."""
    t_centre = 1.0 - truth.curve
    even = np.abs(truth.curve - 0.5) < 1e-6
    v = np.where(even, 1.0, (0.5 - t_centre**2) / np.where(even, 1.0, t_centre - t_centre**2))
    a = 2.0 * (1.0 - v)
    share = np.linspace(0.0, 1.0, WINDOW)
    p = low + (high - low) * share
    root = np.sqrt(np.maximum(v[:, None] ** 2 + 2.0 * a[:, None] * p, 0.0))
    return _Edge(
        begin[:, None] + truth.travel[:, None] * 2.0 * p / (v[:, None] + root),
        np.broadcast_to(share, (begin.size, WINDOW)),
    )


def _low_passed(t: Floats, light: Floats, constant: Floats) -> Floats:
    """First order, exact for light that runs straight from one time to the next; dark before."""
    step = np.diff(t, axis=1)
    slope = np.diff(light, axis=1) / np.maximum(step, 1e-15)
    keep = np.exp(-step / constant[:, None])
    lag = slope * constant[:, None]
    seen = np.zeros_like(light)
    for k in range(step.shape[1]):
        seen[:, k + 1] = light[:, k + 1] - lag[:, k] + (seen[:, k] - light[:, k] + lag[:, k]) * keep[:, k]
    return seen


def _between(t: Floats, seen: Floats, at: npt.NDArray[np.intp], level: Floats) -> Floats:
    """When `seen` passes `level` between points `at` and the next."""
    row = np.arange(t.shape[0])
    t0, t1, y0, y1 = t[row, at], t[row, at + 1], seen[row, at], seen[row, at + 1]
    gap = np.where(np.abs(y1 - y0) < 1e-15, 1.0, y1 - y0)
    return np.asarray(t0 + (t1 - t0) * np.clip((level - y0) / gap, 0.0, 1.0))
