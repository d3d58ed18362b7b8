"""Lays a Page out as one HTML file: no network, nothing outside it, every string escaped."""

from __future__ import annotations

import json
import math
import re
from importlib.resources import files
from pathlib import Path

from coincide.durable import write_outputs
from coincide.report.page.model import Page, PagePair
from coincide.report.plots.diagram import LABELS


def page_html(page: Page) -> str:
    """The whole page as text. Jinja2 escapes everything that is not made here as markup."""
    import jinja2
    from markupsafe import Markup

    here = files("coincide.report.page")
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, finalize=_unbroken
    )
    environment.globals.clear()
    template = environment.from_string(here.joinpath("page.html").read_text("utf-8"))
    return template.render(
        page=_with_markup(page),
        css=Markup(here.joinpath("page.css").read_text("utf-8")),
        js=Markup(here.joinpath("page.js").read_text("utf-8")),
        edge_json=Markup(_edge_json(page)),
    )


def _unbroken(value: object) -> object:
    """Text with each number tied to its unit, so that no line ends between them; markup as it is."""
    if type(value) is not str:
        return value
    return re.sub(r"(?<=\d) (?=(?:ms|s|m|mm|um|%|m/s|km/h|MHz)(?![\w/]))", "\u00a0", value)


def write_page(page: Page, path: Path) -> Path:
    """Write the page, in place of an earlier page of that name. Returns its path. Raises BadInput when it cannot be
    written or something else has that name; what is there stays as it was."""
    write_outputs({path: page_html(page).encode()})
    return path


def _with_markup(page: Page) -> Page:
    """The SVG of the figures is ours, drawn from numbers: it goes in as markup, all else is escaped."""
    from dataclasses import replace

    from markupsafe import Markup

    sections = tuple(
        replace(
            section,
            figures=tuple(replace(f, svg=Markup(f.svg), narrow=Markup(f.narrow)) for f in section.figures),
        )
        for section in page.sections
    )
    return replace(page, sections=sections)


def _edge_json(page: Page) -> str:
    """The pairs for page.js, times in ms. '<' goes in as an escape: no string can close the script."""
    channels = list(page.pairs[0].edges.channels) if page.pairs else []
    held: dict[str, object] = {
        "channels": channels,
        "labels": LABELS,
        "pairs": [_pair(pair) for pair in page.pairs],
    }
    if page.packed is not None:
        packed = page.packed
        held["packed"] = {
            "pairs": packed.pairs,
            "edges": packed.edges,
            "step_ms": packed.step_s * 1e3,
            "data": packed.data,
        }
    text = json.dumps(
        held,
        separators=(",", ":"),
        allow_nan=False,
    )
    return text.replace("<", "\\u003c")


def _pair(pair: PagePair) -> dict[str, object]:
    edges = pair.edges
    return {
        "n": pair.number,
        "c": edges.channel.tolist(),
        "l": edges.level.tolist(),
        "t": [round(t * 1e3, 6) for t in edges.time_s.tolist()],
        "mid": [round(m * 1e3, 6) if math.isfinite(m) else None for m in edges.mid_s],
    }
