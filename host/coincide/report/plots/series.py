"""Pictures of a series: skew by shot, its distribution, before and after.

Arrays in seconds in, a matplotlib Figure out; nothing is measured here. The timing diagram of one pair
is in `diagram.py`.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from coincide.durable import write_outputs
from coincide.report.plots.palette import (
    ACCENT,
    AFTER,
    BEFORE,
    DOUBT,
    FAINT,
    INK,
    RC,
    WITHIN,
    WITHIN_EDGE,
    no_formulas,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from coincide.session.model import Floats, Ints

WIDTH_IN, HEIGHT_IN = 8.0, 4.2
MS = 1e3
MOST_DOTS = 4000  # more hide one another, and make a page too heavy for a phone
WIDE_ONLY = "wide only"  # gid of what a narrow drawing has no room for


def new_figure(title: str, height_in: float = HEIGHT_IN) -> tuple[Figure, Axes]:
    """A figure with one titled axis in the house style. The Figure owns its canvas: no pyplot state."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(RC):
        figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
        axes = figure.add_subplot()
        axes.set_title(title)
    return figure, axes


def save(figure: Figure, path: Path) -> Path:
    """Write the figure as its suffix says (.png, .svg, .pdf). Returns the path. Raises BadInput where it cannot be
    written or the name is taken by what is no picture of ours."""
    return write_outputs({path: figure_bytes(figure, path.suffix)})[0]


def figure_bytes(figure: Figure, suffix: str, dpi: int = 150, **how: Any) -> bytes:
    """The figure as a file of this suffix (.png, .svg, .pdf) holds it, marked as made by coincide."""
    import matplotlib as mpl

    # No date, so that the file is the same from run to run.
    marks: dict[str, dict[str, str | None]] = {
        ".svg": {"Date": None, "Creator": "coincide"},
        ".pdf": {"CreationDate": None, "Creator": "coincide"},
        ".png": {"Software": "coincide"},
    }
    held = BytesIO()
    with mpl.rc_context(RC):
        no_formulas(figure).savefig(held, format=suffix[1:], dpi=dpi, metadata=marks[suffix], **how)
    return held.getvalue()


def drawn(values: Floats) -> npt.NDArray[np.bool_]:
    """Which of the values (n,), NaN never, are drawn as dots: all up to MOST_DOTS, else of each stretch the smallest,
    the largest, the first and the middle one."""
    seen = np.flatnonzero(np.isfinite(values))
    kept = np.zeros(values.size, dtype=np.bool_)
    if seen.size <= MOST_DOTS:
        kept[seen] = True
        return kept
    for stretch in np.array_split(seen, MOST_DOTS // 4):
        here = values[stretch]
        kept[stretch[[int(np.argmin(here)), int(np.argmax(here)), 0, stretch.size // 2]]] = True
    return kept


def skew_by_shot(
    number: Ints,
    skew_s: Floats,
    tolerance_s: float,
    centre_s: float,
    *,
    set_aside: Ints | None = None,
    who: tuple[str, str] = ("A", "B"),
) -> Figure:
    """Skew of every pair against its number (n,), with the tolerance band about `centre_s`.

    NaN skews are drawn as gaps on the axis, named 'no answer'. `set_aside` holds the numbers of shots
    the analysis looked at and left out (first shots, outliers).
    """
    figure, axes = new_figure("Skew, shot by shot")
    seen = np.isfinite(skew_s)
    aside = np.isin(number, set_aside if set_aside is not None else np.empty(0, dtype=np.int64))
    axes.axhspan(
        (centre_s - tolerance_s) * MS,
        (centre_s + tolerance_s) * MS,
        facecolor=WITHIN,
        edgecolor=WITHIN_EDGE,
        linewidth=0.8,
        label=f"within ±{_ms(tolerance_s)} of the centre",
    )
    axes.axhline(centre_s * MS, color=WITHIN_EDGE, linewidth=1.2)
    plain = drawn(np.where(aside, np.nan, skew_s))
    size = 26 if number.size <= 200 else 8
    label = "one pair" if number.size <= MOST_DOTS else "of each stretch of pairs the extremes and two more"
    axes.scatter(number[plain], skew_s[plain] * MS, s=size, color=INK, label=label, zorder=3, gid="pairs")
    if np.any(seen & aside):
        axes.scatter(
            number[seen & aside],
            skew_s[seen & aside] * MS,
            s=38,
            facecolor="none",
            edgecolor=DOUBT,
            marker="s",
            label="seen, left out of the centre",
            zorder=3,
            gid="aside",
        )
    missed = number[~seen]
    if missed.size:
        missed = missed[:: 1 + missed.size // MOST_DOTS]
        axes.plot(
            missed,
            np.full(missed.size, 0.02),
            transform=axes.get_xaxis_transform(),
            linestyle="none",
            marker="x",
            color=DOUBT,
            label="not measured",
            clip_on=False,
        )
    axes.set_xlabel("shot")
    axes.set_ylabel("skew, ms")
    _say_sign(axes, who)
    axes.margins(x=0.02, y=0.12)
    figure.legend(loc="outside lower center", frameon=False, ncols=4)
    return figure


def distribution(
    skew_s: Floats,
    offset_s: float,
    interval_s: tuple[float, float],
    tolerance_s: float,
    *,
    who: tuple[str, str] = ("A", "B"),
) -> Figure:
    """Histogram of the skews (n,) with the suggested offset, its 95 % interval and the tolerance."""
    from matplotlib.ticker import MaxNLocator

    figure, axes = new_figure("Where the skews lie, and the offset that centres them")
    seen = skew_s[np.isfinite(skew_s)]
    axes.axvspan(
        (offset_s - tolerance_s) * MS,
        (offset_s + tolerance_s) * MS,
        facecolor=WITHIN,
        edgecolor=WITHIN_EDGE,
        linewidth=0.8,
        label=f"kept: within ±{_ms(tolerance_s)}",
    )
    axes.hist(
        seen * MS, bins=(_bins(seen) * MS).tolist(), color=FAINT, edgecolor=INK, linewidth=0.6, label="pairs"
    )
    ticks = np.sort(seen)
    ticks = ticks[drawn(ticks)]
    axes.plot(
        ticks * MS,
        np.full(ticks.size, -0.02),
        transform=axes.get_xaxis_transform(),
        linestyle="none",
        marker="|",
        color=INK,
        markersize=7,
        clip_on=False,
    )
    axes.axvline(offset_s * MS, color=ACCENT, linewidth=2.2, label=f"offset {_ms(offset_s)}")
    axes.plot(
        np.array(interval_s) * MS,
        [0.96, 0.96],
        transform=axes.get_xaxis_transform(),
        color=ACCENT,
        linewidth=5,
        solid_capstyle="butt",
        label=f"95 % interval {_ms(interval_s[0])} to {_ms(interval_s[1])}",
    )
    axes.set_xlabel(_skew_label(who))
    axes.set_ylabel("pairs")
    axes.tick_params(axis="x", pad=8)
    axes.yaxis.set_major_locator(MaxNLocator(integer=True))
    figure.legend(loc="outside lower center", frameon=False, ncols=4)
    return figure


def before_after(
    before_s: Floats,
    after_s: Floats,
    tolerance_s: float,
    *,
    centres_s: tuple[float, float] | None = None,
    who: tuple[str, str] = ("A", "B"),
) -> Figure:
    """Both series on one axis: skew without the new offset (n,) and with it (m,), about zero.

    centres_s: the centres that are stated beside it, marked; each series' median where none are.
    """
    figure, axes = new_figure("Before and after the offset", height_in=3.4)
    axes.axvspan(
        -tolerance_s * MS,
        tolerance_s * MS,
        facecolor=WITHIN,
        edgecolor=WITHIN_EDGE,
        linewidth=0.8,
        label=f"tolerance ±{_ms(tolerance_s)}",
    )
    axes.axvline(0, color=WITHIN_EDGE, linewidth=1.2)
    rng = np.random.default_rng(0)  # vertical scatter only keeps dots apart; it carries nothing
    rows = ((1.0, before_s, BEFORE, "o"), (0.0, after_s, AFTER, "D"))
    for at, (level, skew_s, colour, marker) in enumerate(rows):
        seen = skew_s[np.isfinite(skew_s)]
        if not seen.size:
            continue
        dots = seen[drawn(seen)]
        spread = rng.uniform(-0.22, 0.22, dots.size)
        axes.scatter(dots * MS, level + spread, s=18, color=colour, marker=marker, alpha=0.75, zorder=3)
        centre = float(np.median(seen)) if centres_s is None else centres_s[at]
        axes.plot([centre * MS] * 2, [level - 0.34, level + 0.34], color=INK, linewidth=2.4, zorder=4)
        axes.annotate(
            f"{'median' if centres_s is None else 'centre'} {_ms(centre)}",
            (centre * MS, level + 0.36),
            ha="center",
            va="bottom",
            fontsize=9,
            color=INK,
        )
    axes.set_yticks([1.0, 0.0], ["before", "after"])
    axes.set_ylim(-0.55, 1.75)
    axes.grid(axis="y", visible=False)
    axes.set_xlabel(_skew_label(who))
    axes.margins(x=0.08)
    figure.legend(loc="outside lower center", frameon=False, ncols=2)
    return figure


def _bins(seen_s: Floats) -> Floats:
    """Histogram edges in seconds: numpy's rule, held to 6..40 bins so that few shots still read."""
    if seen_s.size == 0 or float(np.ptp(seen_s)) == 0.0:
        middle = float(seen_s[0]) if seen_s.size else 0.0
        return np.linspace(middle - 0.5e-3, middle + 0.5e-3, 7)
    count = np.clip(np.histogram_bin_edges(seen_s, bins="auto").size - 1, 6, 40)
    return np.asarray(np.histogram_bin_edges(seen_s, bins=int(count)), dtype=np.float64)


def _ms(value_s: float) -> str:
    return f"{value_s * MS:.2f} ms"


def _skew_label(who: tuple[str, str]) -> str:
    return f"skew, ms   (left of zero: {who[0]} is late; right: {who[1]} is late)"


def _say_sign(axes: Axes, who: tuple[str, str]) -> None:
    axes.annotate(
        f"above zero: {who[1]} exposes after {who[0]}",
        (1.0, 1.02),
        xycoords="axes fraction",
        ha="right",
        fontsize=8.5,
        color=FAINT,
        gid=WIDE_ONLY,
    )
