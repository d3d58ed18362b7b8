"""The page's sections about planning: the skew over the frame, and what the rig can photograph."""

from __future__ import annotations

from typing import TYPE_CHECKING

from coincide.planning.basis import Basis, PairsMeasured, basis_of_pairs
from coincide.planning.plan import LimitsPlan, limits_plan
from coincide.planning.verdict import Use, verdict
from coincide.report.page.model import Column, PageFigure, PageTable, Section
from coincide.report.page.svg import page_figure
from coincide.report.plots.outlines import outlines_plot
from coincide.report.plots.planning import limits_plot, skew_map_plot
from coincide.report.words import planning as words
from coincide.report.words.basis import basis_line
from coincide.report.words.rig import geometry_lines
from coincide.report.words.verdict import verdict_lines
from coincide.rig.model import Rig

if TYPE_CHECKING:
    from coincide.timing.offset.suggest import OffsetSuggestion

MAP_ALT = "Skew over the frame in milliseconds, colours with contour lines, the offset right in frame centre."
MAP_CAPTION = (
    "The part of the scene that both bodies see. No offset removes these differences; they add to the skew of every "
    "pair, and matter most where something moves near the edge."
)
LIMITS_ALT = (
    "Fastest subject that is kept against distance, with the usual speeds of everyday subjects beside it."
)
LIMITS_CAPTION = (
    "Below a line a subject is kept. The bands that a wide page shows beside it are rough: ranges of experience, to "
    "see at a glance what crosses which line."
)


OUTLINES_ALT = "An invented cyclist in both pictures, one laid over the other, before and with the offset."
OUTLINES_CAPTION = (
    "Invented. Where only one of the two films saw him there is a coloured edge. The offset brings the two outlines "
    "together; how far he smears within each picture is the matter of the shutter times, and no offset changes it."
)


def planning_sections(
    rig: Rig, suggestion: OffsetSuggestion | None, *, invented: bool = False
) -> list[Section]:
    """'Over the frame', and 'What it can photograph' where the series settled jitter and offset.

    invented: of a simulated box; then a picture shows what skew and blur do to its cyclist.
    """
    sections = [_over_the_frame(rig)]
    if suggestion is not None:
        plan = limits_plan(_basis(rig, suggestion))
        sections.append(_what_it_can(plan, _outlines(plan, suggestion) if invented else ()))
    return sections


def subject_lines(rig: Rig, suggestion: OffsetSuggestion | None) -> tuple[str, ...]:
    """Whether the rig's own subject is kept, and what rules: for the top of the page. Empty without a subject."""
    own = rig.tolerance.subject
    if suggestion is None or own is None:
        return ()
    return verdict_lines(verdict(Use(rig, _basis(rig, suggestion).model, own)))


def _outlines(plan: LimitsPlan, suggestion: OffsetSuggestion) -> tuple[PageFigure, ...]:
    if plan.asked is None or plan.asked.subject.direction != "across":
        return ()
    drawn = outlines_plot(plan.asked.verdict, suggestion.offset_s, plan.asked.inverse.skew_s)
    return (page_figure(drawn, "outlines", OUTLINES_ALT, OUTLINES_CAPTION),)


def _over_the_frame(rig: Rig) -> Section:
    drawn = skew_map_plot(rig)
    pictures = () if drawn is None else (page_figure(drawn, "skew-map", MAP_ALT, MAP_CAPTION),)
    return Section("over-the-frame", "Over the frame", lines=geometry_lines(rig), figures=pictures)


def _what_it_can(plan: LimitsPlan, outlines: tuple[PageFigure, ...]) -> Section:
    basis, found = plan.basis, plan.found
    asked = () if plan.asked is None else words.asked_lines(plan.asked)
    lines = [basis_line(basis), words.skew_line(basis.rig, found), words.kept_line(basis.model)]
    fastest = _table(
        "The fastest subject", words.limits_columns(found, basis.model), words.limits_rows(found, basis.model)
    )
    everyday = _table(
        "Everyday subjects, all rough, at the fast end of their range",
        words.everyday_columns(basis.model),
        words.everyday_rows(basis.rig, basis.model, found),
    )
    chain = PageTable(
        "Where every number comes from",
        (Column("figure"), Column("value", True), Column("from")),
        tuple((link.name, f"{link.value:.4g} {link.unit}".rstrip(), link.source) for link in plan.chain),
        folded=True,
    )
    picture = page_figure(limits_plot(plan), "limits", LIMITS_ALT, LIMITS_CAPTION)
    return Section(
        "what-it-can-photograph",
        "What it can photograph",
        asked,
        tuple(lines),
        (*outlines, picture),
        tables=(fastest, everyday, chain),
    )


def _basis(rig: Rig, suggestion: OffsetSuggestion) -> Basis:
    """This very series, calibration or not."""
    return basis_of_pairs(
        rig,
        PairsMeasured(
            rig, suggestion.shots_used, suggestion.jitter_s, suggestion.best_s, suggestion.interval_s
        ),
    )


def _table(caption: str, columns: tuple[str, ...], rows: list[tuple[str, ...]]) -> PageTable:
    return PageTable(caption, tuple(Column(name, "," in name) for name in columns), tuple(rows))
