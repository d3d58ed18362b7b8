"""A matplotlib figure as SVG for the page: colours become the page's variables, text stays text."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING

from coincide.report import palette

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_VARIABLES = {
    palette.INK: "var(--ink)",
    palette.FAINT: "var(--faint)",
    palette.GRID: "var(--grid)",
    palette.PAPER: "none",
    palette.WITHIN: "var(--within)",
    palette.WITHIN_EDGE: "var(--within-edge)",
    palette.ACCENT: "var(--accent)",
    palette.AFTER: "var(--after)",
    palette.DOUBT: "var(--doubt)",
    palette.BODY_COLOUR[0]: "var(--a)",
    palette.BODY_COLOUR[1]: "var(--b)",
}


def page_svg(figure: Figure, name: str) -> str:
    """The figure as an <svg> element to stand inside the page.

    `name` keeps the ids of one figure apart from another's: SVGs inlined in one page share a name space.
    """
    import matplotlib as mpl

    held = io.StringIO()
    with mpl.rc_context({**palette.RC, "svg.fonttype": "none", "svg.hashsalt": name}):
        palette.no_formulas(figure).savefig(held, format="svg", metadata={"Date": None, "Creator": None})
    text = held.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", text, count=1)
    text = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", text, count=1)
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="', f'id="{name}-', text)
    text = re.sub(r'(href="#|url\(#)', rf"\g<1>{name}-", text)
    for colour, variable in _VARIABLES.items():
        text = text.replace(colour, variable)
    return text
