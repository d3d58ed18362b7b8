"""Pictures of a recording: one pair's two waves with the edges marked, and the whole evening with its pairs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from coincide.report.plots.palette import BODY_COLOUR, DOUBT, FAINT, INK, RC, no_formulas

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from coincide.recording.find import Outline, Samples


def pair_waves(
    wave: Samples,
    rate_hz: int,
    from_s: float,
    edges_s: tuple[tuple[float, ...], tuple[float, ...]],
    names: tuple[str, str],
) -> Figure:
    """wave (n, 2) of A and B, its first sample at from_s; the edges of each, seconds from the recording's start."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(RC):
        figure = Figure(figsize=(8.5, 4.6), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True)
        first = min(min(one) for one in edges_s)
        last = max(max(one) for one in edges_s)
        margin = max(0.25 * (last - first), 0.004)
        time_ms = (from_s + np.arange(len(wave)) / rate_hz - first) * 1e3
        inside = (time_ms > -margin * 1e3) & (time_ms < (last - first + margin) * 1e3)
        mids = []
        for body, axes in enumerate((upper, lower)):
            axes.plot(time_ms[inside], wave[inside, body], color=BODY_COLOUR[body], linewidth=0.9)
            for edge in edges_s[body]:
                axes.axvline((edge - first) * 1e3, color=INK, linewidth=0.9, linestyle=(0, (4, 2)))
            mids.append((float(np.mean(edges_s[body])) - first) * 1e3)
            axes.axvline(mids[body], color=BODY_COLOUR[body], linewidth=2.0, alpha=0.55)
            axes.set_ylabel(names[body])
            axes.margins(x=0)
        skew_ms = mids[1] - mids[0]
        late = names[1] if skew_ms > 0 else names[0]
        upper.set_title(f"One pair: the middle of {late} comes {abs(skew_ms):.2f} ms later")
        lower.set_xlabel("time since the first edge, ms (dashed: edges; broad: middle of each)")
    return no_formulas(figure)


def whole_recording(
    outline: Outline,
    pairs_s: tuple[float, ...],
    alone_s: tuple[float, ...],
    left_out_s: tuple[float, ...],
) -> Figure:
    """Highest and lowest sample of either channel against time; pairs, bangs of one body, and what was left out
    below."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(RC):
        figure = Figure(figsize=(8.5, 4.2), layout="constrained")
        left, right, marks = figure.subplots(3, 1, sharex=True, height_ratios=(3, 3, 1.3))
        high, low = _coarser(outline.high, np.max), _coarser(outline.low, np.min)
        step_s = outline.step_s * max(len(outline.high) / max(len(high), 1), 1.0)
        time_s = np.arange(len(high)) * step_s
        for channel, (axes, name) in enumerate(((left, "left"), (right, "right"))):
            axes.fill_between(
                time_s, low[:, channel], high[:, channel], color=INK, linewidth=0.4, edgecolor=INK
            )
            axes.set_ylabel(name)
            axes.margins(x=0)
        _marks(marks, pairs_s, alone_s, left_out_s)
        left.set_title("The whole recording")
        marks.set_xlabel("time, s")
    return no_formulas(figure)


def _marks(
    axes: Axes, pairs_s: tuple[float, ...], alone_s: tuple[float, ...], left_out_s: tuple[float, ...]
) -> None:
    kinds = (
        ("pair", pairs_s, "D", INK),
        ("one body alone", alone_s, "o", FAINT),
        ("left out", left_out_s, "x", DOUBT),
    )
    for height, (_, at_s, marker, colour) in enumerate(kinds):
        axes.plot(at_s, np.full(len(at_s), height), marker, color=colour, markersize=5, linestyle="none")
    axes.set_yticks(range(3), [name for name, *_ in kinds])
    axes.set_ylim(-0.6, 2.6)
    axes.invert_yaxis()


def _coarser(values: Samples, how: object, most: int = 2000) -> Samples:
    """At most `most` rows, each the extreme of those it stands for."""
    per = -(-len(values) // most) if len(values) else 1
    whole = len(values) // per
    if per <= 1:
        return values
    parts = values[: whole * per].reshape(whole, per, 2)
    extremes: Samples = parts.max(axis=1) if how is np.max else parts.min(axis=1)
    return extremes
