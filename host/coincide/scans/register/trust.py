"""How far the map may be off, place by place: little where tiles were recognised, more and more away from them.

Whatever map was chosen, the doubt is that of a cubic one fitted to the same tiles: what a plainer map leaves out
could be there where nothing was recognised. Prediction variance of weighted least squares with a prior on the bend
(any textbook on linear models; the prior bounds it where there is nothing at all).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from coincide.scans.register.alignment import Floats, bend_terms

COVER = 1.96  # k for 95 %, normal
# Two lenses of a kind differ by some thousandths of the half frame in their distortion (common practice, no source).
BEND_PRIOR = 0.004
# Neighbouring tiles err together, and a tile's tone changes pull it: measured on photographs of known truth.
_TOGETHER = 2.4
_LEAST_PX = 0.04


@dataclass(frozen=True, slots=True)
class Trust:
    """Covariance (10, 10) of one component of a cubic map, in square pixels of A, in coordinates less `centre` over
    `reach`."""

    covariance: Floats
    centre: tuple[float, float]
    reach: float

    def u_px(self, points: Floats) -> Floats:
        """Standard uncertainty of each component of the map at `points` (..., 2) of A, in pixels of A: (...)."""
        terms = _terms(points, self.centre, self.reach)
        variance = np.einsum("...i,ij,...j->...", terms, self.covariance, terms)
        return np.asarray(np.sqrt(variance + _LEAST_PX**2))

    def grid_px(self, frame_px: tuple[int, int], columns: int = 7, rows: int = 5) -> tuple[Floats, Floats]:
        """Places (rows, columns, 2) over a frame of `frame_px` (width, height), rim to rim, and `u_px` there."""
        x, y = np.linspace(0, frame_px[0] - 1, columns), np.linspace(0, frame_px[1] - 1, rows)
        places = np.stack(np.meshgrid(x, y), axis=-1)
        return places, self.u_px(places)


def trust_in(
    tiles_px: Floats, off_px: Floats, doubt: Floats, frame_px: tuple[int, int], factor: int
) -> Trust:
    """From the tiles that stood still: `tiles_px`, `off_px` (n, 2), `doubt` (n,), at reduction `factor`."""
    centre = ((frame_px[0] - 1) / 2, (frame_px[1] - 1) / 2)
    reach = max(frame_px) / 2
    terms = _terms(tiles_px, centre, reach)
    weight = 1.0 / doubt**2
    variance = float((weight @ (off_px**2).sum(axis=1)) / (2 * max(len(doubt) - 10, 4)))
    variance = max(variance, (0.05 * factor) ** 2) * _TOGETHER**2
    prior = np.zeros(10)
    prior[3:] = (BEND_PRIOR * reach) ** -2.0
    information = (terms * weight[:, None]).T @ terms / variance + np.diag(prior) + 1e-12 * np.eye(10)
    return Trust(np.asarray(np.linalg.inv(information), np.float64), centre, reach)


def _terms(points: Floats, centre: tuple[float, float], reach: float) -> Floats:
    plain = np.stack(
        [
            np.ones(points.shape[:-1]),
            (points[..., 0] - centre[0]) / reach,
            (points[..., 1] - centre[1]) / reach,
        ],
        axis=-1,
    )
    return np.concatenate([plain, bend_terms(points, centre, reach)], axis=-1)
