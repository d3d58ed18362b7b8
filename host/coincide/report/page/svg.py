"""A matplotlib figure as SVG for the page: colours become the page's variables, text stays text."""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Collection, Mapping
from typing import TYPE_CHECKING

from coincide.report.page.model import PageFigure
from coincide.report.plots import palette
from coincide.report.plots.series import WIDE_ONLY

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from coincide.session.model import Ints

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


NARROW_IN, MAP_IN = 4.5, 3.5


def page_figure(figure: Figure, name: str, alt: str, caption: str) -> PageFigure:
    """The figure drawn twice, for a desk and for a phone: letters keep their size instead of shrinking."""
    wide = page_svg(figure, name)
    _make_narrow(figure)
    return PageFigure(wide, page_svg(figure, f"{name}-narrow"), alt, caption)


def _make_narrow(figure: Figure) -> None:
    """Draws the same on half the width: texts wrap, legends stack, a second panel gives way to the first."""
    for panel in figure.axes:
        if panel.get_gid() == WIDE_ONLY:
            panel.remove()
            figure.axes[0].set_subplotspec(figure.add_gridspec(1, 1)[0])
    for one in figure.findobj(lambda artist: artist.get_gid() == WIDE_ONLY):
        one.set_visible(False)
    map_like = any(panel.get_aspect() != "auto" for panel in figure.axes[:1])
    figure.set_size_inches(NARROW_IN, MAP_IN if map_like else min(figure.get_figheight(), NARROW_IN * 0.95))
    for panel in figure.axes:
        title = textwrap.fill(panel.get_title(loc="left"), 42)
        panel.set_title(title, loc="left", fontsize=11, fontweight="bold")
        panel.set_xlabel(textwrap.fill(panel.get_xlabel(), 40))
    for legend in figure.legends:
        handles = [handle for handle in legend.legend_handles if handle is not None]
        labels = [said.get_text() for said in legend.get_texts()]
        legend.remove()
        columns = 1 if max(map(len, labels), default=0) > 24 else 2
        figure.legend(handles, labels, loc="outside lower center", frameon=False, ncols=columns, fontsize=9)
    for said in figure.texts:
        said.set_text(textwrap.fill(said.get_text(), 52))


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


def with_pairs(svg: str, name: str, groups: Mapping[str, Ints], on_page: Collection[int]) -> str:
    """The drawing `name` with `data-pair` on every dot of the groups whose pair is on the page.

    `groups`: id of the dots as drawn -> their pairs' numbers (n,), in the order drawn.
    """
    for group, numbers in groups.items():
        begins = svg.find(f'<g id="{name}-{group}">')
        if begins < 0:
            continue
        ends = _end_of_group(svg, begins)
        drawn = svg[begins:ends]
        # Many dots are drawn as uses of one shape, a few each as a path of its own.
        dot = "<use " if "<use " in drawn else "<path "
        head, *dots = drawn.split(dot)
        marked = [
            f'{dot}data-pair="{number}" {rest}' if number in on_page else dot + rest
            for number, rest in zip(numbers.tolist(), dots, strict=True)
        ]
        svg = svg[:begins] + head + "".join(marked) + svg[ends:]
    return svg


def _end_of_group(svg: str, begins: int) -> int:
    """Where the group that begins there ends."""
    deep = 0
    for tag in re.finditer(r"<g[ >]|</g>", svg[begins:]):
        deep += -1 if tag[0] == "</g>" else 1
        if deep == 0:
            return begins + tag.end()
    return len(svg)
