"""What a page says, as data: `content.py` fills it, `write.py` lays it out."""

from __future__ import annotations

from dataclasses import dataclass

from coincide.report.page.packed import Packed
from coincide.report.page.strip import Strip
from coincide.report.plots.diagram import PairEdges


@dataclass(frozen=True, slots=True)
class Setting:
    """One thing to set or to know, with its value writ large."""

    label: str
    value: str
    note: str


@dataclass(frozen=True, slots=True)
class PageFigure:
    """A drawing as SVG text, wide and narrow, what it shows in words, and its caption."""

    svg: str
    narrow: str
    alt: str
    caption: str


@dataclass(frozen=True, slots=True)
class PageFinding:
    """A sentence and its advice; `act` when something should be done before shooting."""

    say: str
    advice: str
    act: bool


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    number: bool = False


@dataclass(frozen=True, slots=True)
class PageTable:
    """A table; `folded` shows its caption only until it is opened, and stays off the paper until then."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    folded: bool = False


@dataclass(frozen=True, slots=True)
class Section:
    """One section: its answer writ larger, sentences, then figures, findings and tables."""

    id: str
    title: str
    answer: tuple[str, ...] = ()
    lines: tuple[str, ...] = ()
    figures: tuple[PageFigure, ...] = ()
    findings: tuple[PageFinding, ...] = ()
    tables: tuple[PageTable, ...] = ()


@dataclass(frozen=True, slots=True)
class PagePair:
    """One pair: its row in the table, and its edges for the drawing. `left`: skew less the offset found."""

    number: int
    lag_a: str
    lag_b: str
    skew: str
    left: str
    verdict: str
    edges: PairEdges


@dataclass(frozen=True, slots=True)
class Provenance:
    label: str
    value: str


@dataclass(frozen=True, slots=True)
class Page:
    """Everything the page says. `verdict` is one sentence; `kicker` says what and when."""

    title: str
    kicker: str
    verdict: str
    strip: Strip | None
    lead: tuple[str, ...]
    invented: bool
    settings: tuple[Setting, ...]
    sections: tuple[Section, ...]
    pairs: tuple[PagePair, ...]
    pairs_note: str
    packed: Packed | None
    has_lag: bool
    cautions: tuple[str, ...]
    provenance: tuple[Provenance, ...]
    rig_toml: str
    footer: str
    version: str
