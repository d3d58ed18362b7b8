"""One palette for plots, page and card. Body A and B differ in lightness, marker and hatch as well as hue."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.figure import Figure

# A: slate, B: ochre. Not blue and orange, which are the box's lights and mean within and out of tolerance there;
# apart in lightness, so that colour-blind eyes tell them.
BODY_COLOUR = ("#3c4a57", "#96690a")
BODY_MARKER = ("o", "D")
WITHIN = "#d9e6df"  # the tolerance band: a pale field, never the only carrier of meaning
WITHIN_EDGE = "#6f9384"
INK = "#22262b"
FAINT = "#8a9099"
GRID = "#e3e6e9"
PAPER = "#ffffff"
ACCENT = "#6b3d7c"  # the chosen offset
AFTER = "#2b7a6b"
BEFORE = "#8a9099"
DOUBT = "#a3243b"  # outliers, misses

RC: dict[Any, Any] = {  # keys are matplotlib's, which types them as several hundred literals
    "figure.facecolor": PAPER,
    "axes.facecolor": PAPER,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.titlecolor": INK,
    "axes.titlelocation": "left",
    "axes.titlesize": 12,
    "axes.titleweight": "bold",
    "axes.labelsize": 10,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "grid.color": GRID,
    "grid.linewidth": 0.8,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 9,
    "ytick.labelsize": 9,
    "font.size": 10,
    "text.color": INK,
    "legend.frameon": False,
    "legend.fontsize": 9,
    "svg.hashsalt": "coincide",
    "font.family": "DejaVu Sans",
    "text.parse_math": False,
}

# The skew map: A late, together, B late. Its own ink, since the map keeps its colours on a dark page.
DIVERGING = ("#3c4a57", "#9eabb8", "#f7f5f0", "#dfc47e", "#96690a")
MAP_INK = "#1b1f24"

# The card is paper: the page's light colours (page.css).
CARD_PAPER = "#fbfaf7"
CARD_FAINT = "#5d646d"
CARD_RULE = "#dcd9d0"
CAUTION = "#fdf3dc"
CAUTION_EDGE = "#b98a1c"


def no_formulas(figure: Figure) -> Figure:
    """Take every text of a figure as it is: a name with '$' in it is a name and no formula."""
    from matplotlib.text import Text

    for text in figure.findobj(Text):
        text.set_parse_math(False)
    return figure
