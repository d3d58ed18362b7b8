"""The glass from the side, to scale: both pupils, both cones of view, the rectangle that is needed. Printable."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from coincide.planning.glass.footprint import Sight
from coincide.planning.glass.plan import GlassPlan
from coincide.planning.glass.plate import met_at, mirrored, through_shift_m
from coincide.report.plots.palette import ACCENT, BODY_COLOUR, DOUBT, FAINT, GRID, INK, RC
from coincide.report.words.glass import up_mm
from coincide.report.words.series import who
from coincide.rig.optics.geometry import AXES, SCENE, Vector

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.patches import Polygon

MM = 1e3
MM_PER_INCH = 25.4
PAPER_MM = (297.0, 210.0)  # A4, lying
DRAWN_MM = (265.0, 145.0)  # of it, for the drawing
FOOT_MM = 33.0
SCALES = (1, 2, 5, 10, 20, 50)
LABELS_MM = (90.0, 24.0)  # left free for the words beside the pupils
BEYOND_M = 0.05  # of the cones drawn past the glass


def glass_drawing(plan: GlassPlan) -> Figure:
    """One page of A4, drawn at the largest usual scale that fits."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(RC):
        figure = Figure(figsize=(PAPER_MM[0] / MM_PER_INCH, PAPER_MM[1] / MM_PER_INCH))
        flat = _Flat(plan)
        low, high = flat.reach()
        scale = next(
            (s for s in SCALES if np.all((high - low) * MM / s <= np.subtract(DRAWN_MM, LABELS_MM))),
            SCALES[-1],
        )
        left, bottom = (PAPER_MM[0] - DRAWN_MM[0]) / 2, FOOT_MM
        axes = figure.add_axes(
            (left / PAPER_MM[0], bottom / PAPER_MM[1], DRAWN_MM[0] / PAPER_MM[0], DRAWN_MM[1] / PAPER_MM[1])
        )
        middle = (low + high) / 2 * MM
        axes.set_xlim(middle[0] - DRAWN_MM[0] * scale / 2, middle[0] + DRAWN_MM[0] * scale / 2)
        axes.set_ylim(middle[1] - DRAWN_MM[1] * scale / 2, middle[1] + DRAWN_MM[1] * scale / 2)
        axes.set_axis_off()
        _glass(axes, plan, flat)
        for index in (0, 1):
            _view(axes, plan, flat, index)
        _ruler(axes, scale)
        _words(figure, plan, scale)
    return figure


def write_glass_drawing(plan: GlassPlan, folder: Path) -> list[Path]:
    """`glass.pdf`, `glass.png` and `glass.svg` in a folder that is made where it is not there."""
    from coincide.durable import make_folder, write_outputs
    from coincide.report.plots.series import figure_bytes

    make_folder(folder)
    figure = glass_drawing(plan)
    return write_outputs(
        {folder / f"glass{suffix}": figure_bytes(figure, suffix) for suffix in (".pdf", ".png", ".svg")}
    )


class _Flat:
    """The plane that both lens axes lie in: towards the scene, and along the axis of the body that looks at the glass
    (for a body that looks up: the side view; from a side: the view from above)."""

    def __init__(self, plan: GlassPlan) -> None:
        self.plan = plan
        axis = AXES[plan.rig.both[plan.reflected].mount.looks]
        # The scene lies to the right on paper; so up on it is up in the world, or, from above, the world's left.
        self.from_above = bool(abs(axis[0]) > 0.5)
        self.up = np.array([-1.0, 0.0, 0.0]) if self.from_above else np.array([0.0, 0.0, 1.0])

    def flat(self, points: Vector) -> Vector:
        return np.stack([points @ SCENE, points @ self.up], axis=-1)

    def edge_rays(self, sight: Sight) -> Vector:
        half = sight.field.half_x if self.from_above else sight.field.half_z
        return np.stack([SCENE - half * self.up, SCENE + half * self.up])

    def rim(self, sight: Sight) -> Vector:
        return np.stack([sight.pupil - sight.radius_m * self.up, sight.pupil + sight.radius_m * self.up])

    def on_face(self, met: Vector, face_m: float) -> Vector:
        glass = self.plan.glass
        return np.asarray(met[..., :1] * glass.slope + face_m * glass.normal)

    def path(self, sight: Sight, point: Vector, ray: Vector) -> Vector:
        """The light of one ray, from the pupil to beyond the glass, on paper; the world's metres."""
        glass = self.plan.glass
        if sight.through:
            back = self.on_face(met_at(glass, point, ray, glass.back_m), glass.back_m)
            moved = point + through_shift_m(glass, ray)
            front = self.on_face(met_at(glass, moved, ray, glass.front_m), glass.front_m)
            return self.flat(np.stack([point, back, front, front + ray * self.out_m(front)]))
        met = self.on_face(met_at(glass, point, ray, 0.0), 0.0)
        return self.flat(np.stack([mirrored(glass, point), met, met + ray * self.out_m(met)]))

    def out_m(self, met: Vector) -> float:
        """Up to one line across in front of the glass."""
        end_m = self.plan.need.far_m * float(self.plan.glass.slope @ SCENE) + BEYOND_M
        return max(end_m - float(met @ SCENE), 0.0)

    def reach(self) -> tuple[Vector, Vector]:
        """The corners of everything that is drawn."""
        paths = [
            self.path(sight, point, ray)
            for sight in self.plan.sights
            for point in self.rim(sight)
            for ray in self.edge_rays(sight)
        ]
        everything = np.concatenate(paths)
        margin = 0.012
        return everything.min(axis=0) - margin, everything.max(axis=0) + margin


def _glass(axes: Axes, plan: GlassPlan, flat: _Flat) -> None:
    def corners(near_m: float, far_m: float) -> Vector:
        ends = [(near_m, plan.glass.front_m), (far_m, plan.glass.front_m)]
        ends += [(far_m, plan.glass.back_m), (near_m, plan.glass.back_m)]
        return flat.flat(np.array([s * plan.glass.slope + face * plan.glass.normal for s, face in ends])) * MM

    size = plan.size or plan.need
    axes.add_patch(_polygon(corners(size.near_m, size.far_m), facecolor=GRID, edgecolor=INK, linewidth=0.8))
    coated = corners(size.near_m, size.far_m)[[0, 1] if plan.glass.reflects_in_front else [3, 2]]
    axes.plot(coated[:, 0], coated[:, 1], color=ACCENT, linewidth=1.8, label="the face that reflects")
    wanted = (
        flat.flat(np.array([plan.need.near_m * plan.glass.slope, plan.need.far_m * plan.glass.slope])) * MM
    )
    for end in wanted:
        axes.plot(*end, marker="x", color=DOUBT, markersize=8, markeredgewidth=1.6)
    axes.annotate(
        f"needed: {up_mm(plan.need.length_m)} mm along the slope,\n{up_mm(plan.need.width_m)} mm across",
        wanted[1],
        xytext=(-12, 10 if wanted[1, 1] > 0 else -10),
        textcoords="offset points",
        ha="right",
        va="bottom" if wanted[1, 1] > 0 else "top",
        color=DOUBT,
        fontsize=9,
    )


def _polygon(corners: Vector, **look: Any) -> Polygon:
    from matplotlib.patches import Polygon

    return Polygon(corners, closed=True, **look)


def _view(axes: Axes, plan: GlassPlan, flat: _Flat, index: int) -> None:
    sight, colour = plan.sights[index], BODY_COLOUR[index]
    dash = "-" if sight.through else (0, (6, 2))
    for ray, point in zip(flat.edge_rays(sight), flat.rim(sight), strict=True):
        drawn = flat.path(sight, point, ray) * MM
        axes.plot(drawn[:, 0], drawn[:, 1], color=colour, linewidth=1.1, linestyle=dash)
    middle = flat.path(sight, sight.pupil, SCENE) * MM
    axes.plot(middle[:, 0], middle[:, 1], color=colour, linewidth=0.7, linestyle=(0, (8, 3, 1, 3)))
    rim = np.stack([flat.path(sight, point, SCENE)[0] for point in flat.rim(sight)]) * MM
    axes.plot(rim[:, 0], rim[:, 1], color=colour, linewidth=3.5, solid_capstyle="butt")
    at = rim.mean(axis=0)
    above = flat.up @ mirrored(plan.glass, sight.pupil) > 0
    to_glass_m = plan.place.to_glass_m + (plan.off_m or 0.0) if sight.through else plan.pupil_m
    axes.annotate(
        f"{who(plan.rig)[index]}\nentrance pupil, f/{plan.apertures[index]:g}\n{to_glass_m * MM:.1f} mm from the glass",
        at,
        xytext=(-8, 0) if sight.through else (14, 8 if above else -8),
        textcoords="offset points",
        ha="right" if sight.through else "left",
        va="center" if sight.through else "bottom" if above else "top",
        color=colour,
        fontsize=9,
    )


def _ruler(axes: Axes, scale: int) -> None:
    length = 20.0 * scale if scale > 1 else 50.0
    left, bottom = axes.get_xlim()[1] - length - 4 * scale, axes.get_ylim()[0] + 4 * scale
    axes.plot([left, left + length], [bottom, bottom], color=INK, linewidth=2, solid_capstyle="butt")
    axes.annotate(
        f"{length:.0f} mm",
        (left + length / 2, bottom),
        xytext=(0, 4),
        textcoords="offset points",
        ha="center",
        fontsize=9,
    )


def _words(figure: Figure, plan: GlassPlan, scale: int) -> None:
    view = "from above" if _Flat(plan).from_above else "from the side"
    figure.text(0.054, 0.945, f"{plan.rig.name}: the glass {view}, 1:{scale}", fontsize=14, fontweight="bold")
    figure.text(
        0.054,
        0.91,
        "Printed on A4 without fitting it to the page; check the ruler. The scene is to the right.",
        color=FAINT,
        fontsize=9,
    )
    lines = (
        "Lines of view from the rim of each pupil to the edges of its frame; dash-dotted: the axes. Crosses: as far as "
        "both views need the glass.",
        f"Plate {plan.plate.thickness_m * MM:g} mm, index {plan.plate.index:g}: moves the view through it by "
        f"{plan.sideways_m * MM:.2f} mm. Purple: the face that reflects.",
        "Reckoned, not measured: mock it up in card before the glass is cut, and add what the holder covers.",
    )
    for row, line in enumerate(lines):
        figure.text(0.054, 0.115 - 0.027 * row, line, fontsize=9)
