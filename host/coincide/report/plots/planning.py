"""Pictures for planning: the fastest subject by distance, and the skew over the frame."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from coincide.planning.plan import LimitsPlan
from coincide.planning.subjects import Everyday
from coincide.report.plots.palette import (
    ACCENT,
    AFTER,
    BODY_COLOUR,
    DIVERGING,
    DOUBT,
    FAINT,
    GRID,
    INK,
    MAP_INK,
    RC,
    WITHIN,
    WITHIN_EDGE,
)
from coincide.report.plots.series import HEIGHT_IN, WIDE_ONLY, WIDTH_IN, new_figure, save
from coincide.report.words.figures import KMH, plain
from coincide.report.words.figures import figure as digits
from coincide.report.words.numbers import percent
from coincide.rig.model import Rig
from coincide.rig.optics.geometry import scene_sweep_words, view_of
from coincide.rig.optics.sweep import skew_map, sweep_spread
from coincide.rig.optics.tolerance import tolerance

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ticker import NullLocator

LENS_COLOUR = (ACCENT, BODY_COLOUR[0], BODY_COLOUR[1], AFTER, DOUBT, INK)
LENS_MARKER = ("o", "s", "D", "^", "v", "P")
SLOWEST_M_S, FASTEST_M_S = 0.02, 80.0
CELLS = (73, 49)


def limits_plot(plan: LimitsPlan) -> Figure:
    """Fastest subject across against distance, both logarithmic, with everyday speeds as a ladder beside it."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    found = plan.found
    with mpl.rc_context(RC):
        figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN + 0.6), layout="constrained")
        axes, ladder = figure.subplots(
            1, 2, sharey=True, gridspec_kw={"width_ratios": (5.0, 3.2), "wspace": 0.0}
        )
        axes.set_title(f"The fastest subject, {percent(found.keeper_rate)} of pairs kept")
        _curves(axes, plan)
        _ladder(ladder, found.everyday)
        figure.legend(
            *axes.get_legend_handles_labels(),
            loc="outside lower center",
            frameon=False,
            ncols=min(len(found.focal_lengths_m) + 1, 5),
        )
    return figure


def _curves(axes: Axes, plan: LimitsPlan) -> None:
    found = plan.found
    for index, focal_m in enumerate(found.focal_lengths_m):
        colour, marker = LENS_COLOUR[index % 6], LENS_MARKER[index % 6]
        style: dict[str, Any] = {"color": colour, "marker": marker, "markersize": 5, "linewidth": 1.8}
        lens = f"{plain(focal_m * 1e3)} mm"
        axes.plot(found.distances_m, found.kept_across_m_s[:, index], label=f"across, {lens}", **style)
        style |= {"markerfacecolor": "none", "linestyle": (0, (5, 2))}
        axes.plot(found.distances_m, found.across_m_s[:, index], label=f"{lens}, by skew alone", **style)
    kept_m_s = found.kept_towards_m_s[:, 0]
    axes.plot(found.distances_m, kept_m_s, color=FAINT, linestyle=":", linewidth=2, label="towards")
    axes.set_xscale("log")
    axes.set_yscale("log")
    axes.set_ylim(SLOWEST_M_S, FASTEST_M_S)
    ticks = [distance for distance in found.distances_m if plain(distance)[0] in "1235"]
    axes.set_xticks(ticks, [plain(tick) for tick in ticks])
    axes.xaxis.set_minor_locator(_no_ticks())
    speeds = [0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50]
    axes.set_yticks(speeds, [plain(speed) for speed in speeds])
    axes.yaxis.set_minor_locator(_no_ticks())
    axes.set_xlabel("distance, m")
    axes.set_ylabel("speed, m/s")


def _ladder(axes: Axes, everyday: Sequence[Everyday]) -> None:
    """Each everyday subject as a band at its range of speed, side by side where ranges overlap."""
    axes.set_gid(WIDE_ONLY)
    lanes: list[float] = []
    for one in everyday:
        lane = next((at for at, top in enumerate(lanes) if one.slow_m_s >= top * 1.05), len(lanes))
        lanes[lane : lane + 1] = [one.fast_m_s]
        axes.bar(
            lane,
            one.fast_m_s - one.slow_m_s,
            bottom=one.slow_m_s,
            width=0.94,
            color=WITHIN,
            edgecolor=WITHIN_EDGE,
            linewidth=0.8,
        )
        middle = float(np.sqrt(one.slow_m_s * one.fast_m_s))
        name = one.name.replace(" and ", "\nand ").replace(" in ", "\nin ")
        axes.annotate(name, (lane, middle), ha="center", va="center", fontsize=7.5, linespacing=1.05)
    axes.set_xlim(-0.6, len(lanes) - 0.4)
    axes.set_xticks([])
    axes.set_xlabel("everyday subjects (rough)")
    axes.spines["bottom"].set_visible(False)
    axes.spines["left"].set_color(GRID)
    axes.tick_params(axis="y", left=False, labelleft=False)
    right = axes.secondary_yaxis("right", functions=(_to_kmh, _to_m_s))
    marks = [0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200]
    right.set_yticks(marks, [plain(mark) for mark in marks])
    right.yaxis.set_minor_locator(_no_ticks())
    right.spines["right"].set_visible(True)
    right.spines["right"].set_color(GRID)
    right.tick_params(axis="y", color=FAINT)
    right.set_ylabel("km/h")


def skew_map_plot(rig: Rig) -> Figure | None:
    """The skew over the part of the scene that both bodies see, offset on; None where no curtain sweeps."""
    import matplotlib as mpl

    spread = sweep_spread(rig)
    if spread.relation == "no sweep":
        return None
    figure, axes = new_figure("Skew over the frame, with the offset that 'calibrate' sets", height_in=4.6)
    figure.set_layout_engine("compressed")
    with mpl.rc_context(RC):
        _map(axes, rig)
        axes.set_aspect("equal")
        axes.grid(visible=False)
        axes.set_xlabel("to the right in the scene, degrees")
        axes.set_ylabel("up in the scene, degrees")
    ways = [
        f"{letter} {scene_sweep_words(view_of(body)).removesuffix(' in the scene')}"
        for letter, body in zip("AB", rig.both, strict=True)
    ]
    figure.supxlabel(
        f"The exposure runs over the scene: {', '.join(ways)}.  {digits(spread.across_s * 1e3)} ms across "
        f"the frame.\nThe best single offset would lie {digits(abs(spread.centre_shift_s) * 1e3)} ms beside it and "
        f"leave {digits(spread.after_offset_s * 1e3)} ms at most.",
        fontsize=8.5,
        color=FAINT,
    )
    return figure


def _map(axes: Axes, rig: Rig) -> None:
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.patheffects import withStroke

    field = skew_map(rig, *CELLS)
    x, z, skew_ms = np.degrees(np.arctan(field.x)), np.degrees(np.arctan(field.z)), field.skew_s * 1e3
    top_ms = max(float(np.abs(skew_ms).max()), 1e-3)
    colours = LinearSegmentedColormap.from_list("skew", DIVERGING)
    drawn = axes.pcolormesh(
        x, z, skew_ms, cmap=colours, vmin=-top_ms, vmax=top_ms, shading="gouraud", rasterized=True
    )
    lines = axes.contour(
        x, z, skew_ms, levels=_levels(top_ms), colors=MAP_INK, linewidths=0.9, linestyles="-"
    )
    labels = list(axes.clabel(lines, fmt=_signed, fontsize=8.5, inline_spacing=6))
    allowed_ms = tolerance(rig).tolerance_s * 1e3
    if allowed_ms < 0.98 * top_ms:
        edge = axes.contour(x, z, np.abs(skew_ms), levels=[allowed_ms], colors=MAP_INK, linewidths=2.6)
        labels += axes.clabel(
            edge, fmt=lambda value: f"tolerance {value:.2g}", fontsize=8.5, inline_spacing=6
        )
    for label in labels:  # read on the darkest end of the map too
        label.set_path_effects([withStroke(linewidth=3, foreground=DIVERGING[2])])
    figure = axes.figure
    bar = figure.colorbar(drawn, ax=axes, shrink=0.82, pad=0.03)
    bar.set_label("skew, ms")
    for at, body, way in ((1.06, rig.bodies.b, "bottom"), (-0.07, rig.bodies.a, "top")):
        bar.ax.annotate(
            f"{body.name} late", (0.5, at), xycoords="axes fraction", ha="center", va=way, fontsize=8.5
        )


def _signed(value: float) -> str:
    """'+2', '\u22122', '0'."""
    return f"{value:+.3g}".replace("-", "\u2212") if value else "0"


def planning_figures(plan: LimitsPlan) -> dict[str, Figure]:
    """'limits' and, where curtains sweep, 'skew-map'."""
    figures = {"limits": limits_plot(plan)}
    over_frame = skew_map_plot(plan.basis.rig)
    if over_frame is not None:
        figures["skew-map"] = over_frame
    return figures


def write_planning_plots(plan: LimitsPlan, folder: Path) -> list[Path]:
    """`limits.png` and `skew-map.png` in a folder that is there. Returns the paths."""
    return [save(figure, folder / f"{name}.png") for name, figure in planning_figures(plan).items()]


def _to_kmh(speed_m_s: Any) -> Any:
    return np.asarray(speed_m_s) * KMH


def _to_m_s(speed_kmh: Any) -> Any:
    return np.asarray(speed_kmh) / KMH


def _levels(top_ms: float) -> list[float]:
    """Round contour levels, about four to a side, zero among them."""
    raw = top_ms / 3.5
    power = 10.0 ** np.floor(np.log10(raw))
    step = next(mark * power for mark in (1, 2, 5, 10) if mark * power >= raw)
    reach = int(np.floor(top_ms / step))
    return [float(f"{count * step:.6g}") for count in range(-reach, reach + 1)]


def _no_ticks() -> NullLocator:
    from matplotlib.ticker import NullLocator

    return NullLocator()
