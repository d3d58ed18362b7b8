"""What skew and blur do to a subject on film: an invented cyclist in both bodies' pictures, laid over each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from scipy.ndimage import shift, uniform_filter1d

from coincide.planning.verdict import Verdict
from coincide.report.plots.palette import BODY_COLOUR, FAINT, INK
from coincide.report.plots.series import new_figure
from coincide.report.words.verdict import um

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Picture = npt.NDArray[np.float64]

CELL_M = 0.009  # of the scene
WIDE_M, HIGH_M = 2.7, 1.95
WHEELS_M = ((0.78, 0.34), (1.82, 0.34))  # hubs; he rides to the right
WHEEL_RADIUS_M, TYRE_M = 0.33, 0.035
# From, to, and half the thickness: frame, legs, back, arms, neck. An invented figure, about 1.8 m tall.
LIMBS_M = (
    ((0.78, 0.34), (1.22, 0.30), 0.02),
    ((0.78, 0.34), (1.06, 0.85), 0.02),
    ((1.22, 0.30), (1.66, 0.82), 0.025),
    ((1.06, 0.85), (1.66, 0.82), 0.02),
    ((1.82, 0.34), (1.66, 0.95), 0.02),
    ((1.06, 0.93), (1.38, 0.62), 0.08),
    ((1.38, 0.62), (1.24, 0.22), 0.055),
    ((1.06, 0.93), (1.38, 1.42), 0.13),
    ((1.38, 1.40), (1.66, 0.97), 0.045),
    ((1.38, 1.42), (1.46, 1.58), 0.06),
)
HEAD_M, HEAD_RADIUS_M = (1.50, 1.68), 0.115


def silhouette() -> Picture:
    """The cyclist, 1 where he is: (rows from the top, columns), a cell each `CELL_M`."""
    x, z = np.meshgrid(np.arange(0, WIDE_M, CELL_M), np.arange(HIGH_M, 0, -CELL_M))
    inside = np.hypot(x - HEAD_M[0], z - HEAD_M[1]) < HEAD_RADIUS_M
    for hub in WHEELS_M:
        inside |= np.abs(np.hypot(x - hub[0], z - hub[1]) - WHEEL_RADIUS_M) < TYRE_M
    for (x0, z0), (x1, z1), half_m in LIMBS_M:
        along = np.clip(
            ((x - x0) * (x1 - x0) + (z - z0) * (z1 - z0)) / ((x1 - x0) ** 2 + (z1 - z0) ** 2), 0, 1
        )
        inside |= np.hypot(x - x0 - along * (x1 - x0), z - z0 - along * (z1 - z0)) < half_m
    return np.asarray(inside, np.float64)


def exposed(still: Picture, speed_m_s: float, middle_s: float, exposure_s: float) -> Picture:
    """The same on a film that is exposed for so long about that instant, he riding to the right."""
    width = max(round(speed_m_s * exposure_s / CELL_M), 1)
    smeared = uniform_filter1d(still, width, axis=1, mode="constant")
    return np.clip(shift(smeared, (0.0, speed_m_s * middle_s / CELL_M), order=1), 0.0, 1.0)


def overlaid(still: Picture, found: Verdict, skew_s: float) -> Picture:
    """Both pictures registered and printed over each other in the bodies' colours, (rows, columns, 3)."""
    from matplotlib.colors import to_rgb

    speed_m_s = found.use.subject.speed_m_s
    page = np.ones((*still.shape, 3))
    for one, middle_s, colour in zip(found.bodies, (-skew_s / 2, skew_s / 2), BODY_COLOUR, strict=True):
        ink = exposed(still, speed_m_s, middle_s, one.exposure_s)
        page *= 1.0 - ink[:, :, None] * (1.0 - np.array(to_rgb(colour)))
    return page


def outlines_plot(found: Verdict, before_s: float, after_s: float) -> Figure:
    """Him before and with the offset, side by side, to the scale of the film of body A.

    before_s: the skew without the offset, of either sign. after_s: the skew that the asked share of pairs stays
    below with it.
    """
    still = silhouette()
    sides = [overlaid(still, found, skew_s) for skew_s in (before_s, after_s)]
    subject, first = found.use.subject, found.bodies[0]
    to_film = first.speed_m_s / subject.speed_m_s  # metres on film for a metre in the scene
    wide_mm, high_mm = WIDE_M * to_film * 1e3, HIGH_M * to_film * 1e3
    figure, axes = new_figure("The same cyclist on both films, laid over each other", height_in=4.2)
    for index, picture in enumerate(sides):
        axes.imshow(
            picture,
            extent=(index * wide_mm, (index + 1) * wide_mm, 0, high_mm),
            interpolation="bilinear",
            aspect="equal",
        )
    axes.set_xlim(0, 2 * wide_mm)
    axes.set_ylim(0, high_mm * 1.16)
    axes.axvline(wide_mm, color=FAINT, linewidth=0.8)
    for index, (name, skew_s) in enumerate((("before", before_s), ("with the offset", after_s))):
        apart = um(abs(skew_s) * first.speed_m_s)
        axes.annotate(
            f"{name}: {apart} apart",
            ((index + 0.5) * wide_mm, high_mm * 1.13),
            ha="center",
            va="top",
            color=INK,
            fontsize=9,
        )
    axes.grid(visible=False)
    blurs = " and ".join(um(one.blur_m) for one in found.bodies)
    kept = "he is kept" if found.kept else "he is not kept"
    axes.set_xlabel(f"mm on film; own motion blur {blurs}, {um(first.allowed_m)} allowed: {kept}")
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    return figure
