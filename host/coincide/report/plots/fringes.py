"""The fringe map: A's edges, coloured by how wide a fringe the merged picture has there."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from coincide.durable import write_outputs
from coincide.report.plots.palette import RC
from coincide.report.plots.series import figure_bytes
from coincide.scans.register.coarse import block_mean

if TYPE_CHECKING:
    from coincide.scans.pair import Compared
    from coincide.scans.picture.fringes import Fringes

_LONG_SIDE_PX = 1400


def draw_fringes(compared: Compared, found: Fringes, out: Path) -> Path:
    """Write the map as a PNG. Raises BadInput where it cannot."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    factor = max(1, round(max(compared.a.grey.shape) / _LONG_SIDE_PX))
    grey = block_mean(compared.a.grey, factor)
    low, high = np.quantile(grey, [0.01, 0.99])
    shown = 0.3 * np.clip((grey - low) / max(float(high - low), 1e-6), 0, 1)
    pitch = compared.a.pitch_um
    unit, scale = ("um on film", pitch) if pitch is not None else ("pixels of scan A", 1.0)
    width = found.width_px * scale
    order = np.argsort(width)  # the widest are drawn last, on top
    places = ((found.edges_px + 0.5) / factor - 0.5)[order]
    with mpl.rc_context(RC):
        height_px, width_px = grey.shape
        figure = Figure(figsize=(9.6, 9.6 * 0.86 * height_px / width_px + 0.7), layout="constrained")
        axes = figure.add_subplot()
        axes.imshow(shown, cmap="gray", vmin=0, vmax=1, interpolation="nearest")
        top = max(float(np.quantile(width, 0.995)) if len(width) else 1.0, 1e-3)
        dots = axes.scatter(
            places[:, 0], places[:, 1], c=width[order], s=0.8, cmap="plasma", vmin=0, vmax=top, linewidths=0
        )
        axes.set_axis_off()
        axes.set_title("Fringes of the merged picture: how far B's edge lies beside A's", loc="left")
        figure.colorbar(dots, ax=axes, label=f"width of the fringe, {unit}", shrink=0.85)
    write_outputs({out: figure_bytes(figure, ".png")})
    return out
