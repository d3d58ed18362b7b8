"""Where a point of scan A lies in scan B: the maps, and fitting them to matches of which many are wrong."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

KINDS = ("similarity", "homography", "smooth")  # from plain to rich
CUT = 3.0  # in robust deviations: matches further off are taken to have moved
_LEAST_MATCHES = 8
_FLOOR_PX = 0.03  # no match is better than this
_BEND_DAMPING = (
    40.0  # a tile's error, 0.2 px, over the bend expected of lenses of a kind, 0.005 of the half frame
)


@dataclass(frozen=True, slots=True)
class Alignment:
    """Map from pixels of A to pixels of B; (0, 0) is the centre of the first pixel, x right, y down.

    `matrix` (3, 3) projective, mirror included. `bend` (7, 2): pixels of B added for x2, xy, y2, x3, x2y,
    xy2, y3 of the A coordinates less `centre`, over `reach`; None for a plain projective map.
    """

    kind: str
    matrix: Floats
    bend: Floats | None = None
    centre: tuple[float, float] = (0.0, 0.0)
    reach: float = 1.0

    def to_b(self, points: Floats) -> Floats:
        """Pixels of A (..., 2) to pixels of B (..., 2)."""
        x, y = points[..., 0], points[..., 1]
        m = self.matrix
        depth = m[2, 0] * x + m[2, 1] * y + m[2, 2]
        out: Floats = np.empty(points.shape, np.float64)
        out[..., 0] = (m[0, 0] * x + m[0, 1] * y + m[0, 2]) / depth
        out[..., 1] = (m[1, 0] * x + m[1, 1] * y + m[1, 2]) / depth
        if self.bend is not None:
            out += bend_terms(points, self.centre, self.reach) @ self.bend
        return out

    def reduced(self, factor_a: float, factor_b: float) -> Alignment:
        """The same map between copies reduced by averaging `factor_a` and `factor_b` pixels a side."""
        down, up = _to_reduced(factor_b), np.linalg.inv(_to_reduced(factor_a))
        centre = tuple((c + 0.5) / factor_a - 0.5 for c in self.centre)
        return Alignment(
            self.kind,
            down @ self.matrix @ up,
            None if self.bend is None else self.bend / factor_b,
            (centre[0], centre[1]),
            self.reach / factor_a,
        )

    @property
    def gauge(self) -> float:
        """Pixels of B to a pixel of A, over the whole frame."""
        return math.sqrt(abs(float(np.linalg.det(self.matrix[:2, :2]))))

    @property
    def mirrored(self) -> bool:
        """B is seen the other way round."""
        return bool(np.linalg.det(self.matrix[:2, :2]) < 0)

    def at(self, point: Floats) -> Similarity:
        """The similarity closest to this map near `point` (x, y) of A."""
        step = 0.5
        here = self.to_b(point)
        along_x = (self.to_b(point + np.array([step, 0.0])) - self.to_b(point - np.array([step, 0.0]))) / (
            2 * step
        )
        along_y = (self.to_b(point + np.array([0.0, step])) - self.to_b(point - np.array([0.0, step]))) / (
            2 * step
        )
        jacobian = np.stack([along_x, along_y], axis=1)
        mirrored = bool(np.linalg.det(jacobian) < 0)
        if mirrored:
            jacobian = jacobian @ np.diag([-1.0, 1.0])
        scale = math.sqrt(abs(np.linalg.det(jacobian)))
        turn = math.atan2(jacobian[1, 0] - jacobian[0, 1], jacobian[0, 0] + jacobian[1, 1])
        return Similarity((float(here[0]), float(here[1])), math.degrees(turn), scale, mirrored)


@dataclass(frozen=True, slots=True)
class Similarity:
    """Scale (B pixels to an A pixel), turn (degrees, clockwise as seen) after mirroring left-right if `mirrored`."""

    at_b_px: tuple[float, float]
    turn_deg: float
    scale: float
    mirrored: bool


def _to_reduced(factor: float) -> Floats:
    shift = (1.0 / factor - 1.0) / 2.0
    return np.array([[1 / factor, 0, shift], [0, 1 / factor, shift], [0, 0, 1.0]])


def bend_terms(points: Floats, centre: tuple[float, float], reach: float) -> Floats:
    """x2, xy, y2, x3, x2y, xy2, y3 of `points` (..., 2) less `centre`, over `reach`: (..., 7)."""
    x, y = (points[..., 0] - centre[0]) / reach, (points[..., 1] - centre[1]) / reach
    return np.stack([x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=-1)


# -- fitting ---------------------------------------------------------------------------------------


def consensus(
    a: Floats,
    b: Floats,
    doubt: Floats,
    area: Floats,
    mirrored: bool,
    within_px: float,
    rng: np.random.Generator,
) -> Alignment:
    """The similarity that the largest part of the frame agrees with: minimal pairs, truncated squares (MSAC).

    a, b: (n, 2) matched points, n at least 2; doubt (n,): their relative errors; area (n,): what each speaks
    for. `within_px`: pixels of B a match may be off and still count.
    """
    za, zb = _complex(a, mirrored), b[:, 0] + 1j * b[:, 1]
    sure = area / doubt**2
    first, second = rng.choice(len(a), (2, 600), p=sure / sure.sum())
    apart = np.abs(za[first] - za[second]) > 0.15 * np.ptp(a, axis=0).max()
    first, second = first[apart], second[apart]
    if not len(first):
        first, second = np.array([0]), np.array([len(a) - 1])
    base = za[first] - za[second]
    gain = (zb[first] - zb[second]) / np.where(base == 0, 1, base)
    shift = zb[first] - gain * za[first]
    off = np.abs(gain[:, None] * za[None] + shift[:, None] - zb[None]) ** 2
    best = int((np.minimum(off, within_px**2) @ area).argmin())
    return _similarity(gain[best], shift[best], mirrored)


def _complex(points: Floats, mirrored: bool) -> npt.NDArray[np.complex128]:
    return np.asarray((-points[:, 0] if mirrored else points[:, 0]) + 1j * points[:, 1])


def _similarity(gain: complex, shift: complex, mirrored: bool) -> Alignment:
    matrix = np.array(
        [[gain.real, -gain.imag, shift.real], [gain.imag, gain.real, shift.imag], [0.0, 0.0, 1.0]]
    )
    return Alignment("similarity", matrix @ np.diag([-1.0, 1.0, 1.0]) if mirrored else matrix)


def fit_similarity(a: Floats, b: Floats, weight: Floats, mirrored: bool) -> Alignment:
    za, zb = _complex(a, mirrored), b[:, 0] + 1j * b[:, 1]
    total = weight.sum()
    mean_a, mean_b = (weight @ za) / total, (weight @ zb) / total
    da, db = za - mean_a, zb - mean_b
    gain = (weight @ (db * da.conj())) / (weight @ np.abs(da) ** 2)
    return _similarity(gain, mean_b - gain * mean_a, mirrored)


def _normalising(points: Floats) -> Floats:
    middle = points.mean(axis=0)
    size = np.abs(points - middle).max() + 1e-9
    return np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])


def fit_homography(a: Floats, b: Floats, weight: Floats) -> Alignment:
    """Linear least squares with the denominators of the round before, so that errors stay in pixels."""
    ta, tb = _normalising(a), _normalising(b)
    ua = a @ ta[:2, :2].T + ta[:2, 2]
    ub = b @ tb[:2, :2].T + tb[:2, 2]
    x, y = ua.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    depth = one
    root = np.sqrt(weight)
    for _ in range(4):
        w = root / depth
        rows_x = np.stack([x, y, one, zero, zero, zero, -x * ub[:, 0], -y * ub[:, 0]], axis=1)
        rows_y = np.stack([zero, zero, zero, x, y, one, -x * ub[:, 1], -y * ub[:, 1]], axis=1)
        rows = np.concatenate([rows_x * w[:, None], rows_y * w[:, None]])
        h = np.linalg.lstsq(rows, np.concatenate([ub[:, 0] * w, ub[:, 1] * w]), rcond=None)[0]
        depth = np.clip(h[6] * x + h[7] * y + 1.0, 0.2, 5.0)
    matrix = np.linalg.inv(tb) @ np.append(h, 1.0).reshape(3, 3) @ ta
    return Alignment("homography", matrix / matrix[2, 2])


def fit_smooth(a: Floats, b: Floats, weight: Floats, centre: tuple[float, float], reach: float) -> Alignment:
    terms = np.concatenate([a, np.ones((len(a), 1)), bend_terms(a, centre, reach)], axis=1)
    terms[:, :2] = (terms[:, :2] - centre) / reach
    root = np.sqrt(weight)[:, None]
    # Where no tile lies nothing holds a cubic: a little weight on 'no bend' does, and gives way to every tile.
    damped = np.concatenate([np.zeros((7, 3)), np.eye(7) * _BEND_DAMPING / reach], axis=1)
    rows = np.concatenate([terms * root, damped])
    found = np.linalg.lstsq(rows, np.concatenate([b * root, np.zeros((7, 2))]), rcond=None)[0]
    matrix = np.eye(3)
    matrix[:2, :2] = found[:2].T / reach
    matrix[:2, 2] = found[2] - matrix[:2, :2] @ np.array(centre)
    return Alignment("smooth", matrix, found[3:], centre, reach)


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted map, residual (n, 2) of each match in pixels of A, robust deviation, which matches hold, and the weight
    (n,) each had in the last fit."""

    alignment: Alignment
    residual_px: Floats
    deviation_px: float
    holds: npt.NDArray[np.bool_]
    weight: Floats


def refined(
    fitter: Callable[[Floats], Alignment], first: Alignment, a: Floats, b: Floats, doubt: Floats, gauge: float
) -> Fit:
    """Iteratively reweighted least squares (Tukey's biweight), from the matches that `first` explains."""
    alignment, used = first, np.zeros(len(a))
    for _ in range(12):
        off = np.linalg.norm(b - alignment.to_b(a), axis=1) / gauge / doubt
        cut = CUT * 1.5 * _deviation(off)
        weight = np.where(off < cut, ((1 - (off / cut) ** 2) / doubt) ** 2, 0.0)
        if np.count_nonzero(weight) < _LEAST_MATCHES:
            break
        alignment, used = fitter(weight), weight
    residual = (b - alignment.to_b(a)) / gauge
    off = np.linalg.norm(residual, axis=1) / doubt
    deviation = _deviation(off)
    return Fit(alignment, residual, deviation, off < CUT * deviation, used)


def _deviation(off: Floats) -> float:
    """Per-axis deviation from the median length of two-dimensional errors (Rayleigh: 1.1774 sigma).

    The median would count what moved; the 30th percentile (0.8446 sigma) stays with what stood still while
    up to half the matches are wrong.
    """
    return max(float(np.quantile(off, 0.3)) / 0.8446, _FLOOR_PX)
