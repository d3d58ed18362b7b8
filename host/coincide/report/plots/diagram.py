"""The timing diagram of one pair: every edge of every channel on one time axis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from coincide.report.plots.palette import ACCENT, BODY_COLOUR, DOUBT
from coincide.report.plots.series import MS, new_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from coincide.session.model import Floats, Ints

LABELS = {
    "half_a": "A half-press",
    "full_a": "A full-press",
    "half_b": "B half-press",
    "full_b": "B full-press",
    "sync_a": "A sync contact",
    "sync_b": "B sync contact",
    "gate_a1": "A gate sensor 1",
    "gate_a2": "A gate sensor 2",
    "gate_b1": "B gate sensor 1",
    "gate_b2": "B gate sensor 2",
}


@dataclass(frozen=True, slots=True)
class PairEdges:
    """The edges of one pair: parallel arrays (n,), seconds from the pair's start, in time order."""

    number: int
    channels: tuple[str, ...]
    channel: Ints
    level: Ints
    time_s: Floats
    mid_s: tuple[float, float]  # mid-exposure of A and B, NaN where unknown


def timing_diagram(pair: PairEdges) -> Figure:
    """One lane a channel that moved, from the first full-press on; mid-exposures and the skew marked.

    Half-presses lead by hundreds of milliseconds, which would squeeze everything else into a sliver:
    the axis starts a little before the first edge that is not a half-press.
    """
    lanes = [c for c in range(len(pair.channels)) if np.any(pair.channel == c) and pair.channels[c] in LABELS]
    figure, axes = new_figure(f"Pair {pair.number}: every edge", height_in=1.6 + 0.36 * max(len(lanes), 3))
    if not lanes:
        axes.text(0.5, 0.5, "no edge was seen", ha="center", transform=axes.transAxes, color=DOUBT)
        return figure
    begin_s, end_s = _span(pair)
    for row, channel in enumerate(reversed(lanes)):
        mine = pair.channel == channel
        name = pair.channels[channel]
        colour = BODY_COLOUR[0] if "_a" in name else BODY_COLOUR[1]
        _draw_lane(axes, row, pair.time_s[mine], pair.level[mine], (begin_s, end_s), colour)
    axes.set_yticks(
        np.arange(len(lanes)) + 0.3,
        [LABELS[pair.channels[c]] for c in reversed(lanes)],
    )
    axes.set_ylim(-0.3, len(lanes) + 0.9)
    axes.grid(axis="y", visible=False)
    axes.set_xlim(begin_s * MS, end_s * MS)
    axes.set_xlabel(
        "time from the first full-press, ms   (half-presses closed before the axis begins stay up)"
    )
    _draw_mids(axes, pair, len(lanes))
    return figure


def _span(pair: PairEdges) -> tuple[float, float]:
    half = np.array([pair.channels[c].startswith("half") for c in pair.channel])
    full = np.array([pair.channels[c].startswith(("half", "full")) for c in pair.channel])
    shown = pair.time_s[~half] if np.any(~half) else pair.time_s
    answers = pair.time_s[~full]
    # Closures end long after the exposure; stop a little after the last thing a body did.
    end_s = float(answers.max()) if answers.size else float(shown.max())
    begin_s = float(shown.min())
    margin_s = 0.06 * max(end_s - begin_s, 1e-3)
    return begin_s - margin_s, end_s + margin_s


def _draw_lane(
    axes: Axes, row: int, time_s: Floats, level: Ints, span_s: tuple[float, float], colour: str
) -> None:
    begin_s, end_s = span_s
    start_level = 1 - int(level[0])
    x = np.concatenate(([min(begin_s, float(time_s[0]))], time_s, [max(end_s, float(time_s[-1]))]))
    y = np.concatenate(([start_level], level, [level[-1]])).astype(np.float64)
    axes.fill_between(x * MS, row, row + 0.62 * y, step="post", color=colour, alpha=0.22, linewidth=0)
    axes.step(x * MS, row + 0.62 * y, where="post", color=colour, linewidth=1.4)


def _draw_mids(axes: Axes, pair: PairEdges, lanes: int) -> None:
    mid_a, mid_b = pair.mid_s
    for mid_s, colour, name in ((mid_a, BODY_COLOUR[0], "A"), (mid_b, BODY_COLOUR[1], "B")):
        if np.isfinite(mid_s):
            axes.axvline(mid_s * MS, color=colour, linewidth=1.2, linestyle=(0, (5, 3)))
            axes.annotate(
                f"mid {name}",
                (mid_s * MS, lanes + 0.42),
                ha="right" if mid_s == min(mid_a, mid_b) else "left",
                fontsize=8.5,
                color=colour,
            )
    if np.isfinite(mid_a) and np.isfinite(mid_b):
        axes.annotate(
            "",
            (mid_b * MS, lanes + 0.2),
            (mid_a * MS, lanes + 0.2),
            arrowprops={"arrowstyle": "-|>", "color": ACCENT, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 0},
        )
        axes.set_title(
            f"Pair {pair.number}: every edge.  Skew {1e3 * (mid_b - mid_a):+.3f} ms",
            loc="left",
            fontweight="bold",
        )
    else:
        axes.set_title(f"Pair {pair.number}: every edge.  Skew not measured", loc="left", fontweight="bold")
