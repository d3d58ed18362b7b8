"""Fills the page from an analysis: the verdict first, then what to set, then what it rests on."""

from __future__ import annotations

from dataclasses import replace
from importlib.metadata import version

import numpy as np

from coincide.report.page.model import (
    Column,
    Page,
    PageFigure,
    PageFinding,
    PagePair,
    PageTable,
    Provenance,
    Section,
    Setting,
)
from coincide.report.page.packed import Packed, pack_measured
from coincide.report.page.planning import planning_sections, subject_lines
from coincide.report.page.strip import strip
from coincide.report.page.svg import page_figure, with_pairs
from coincide.report.page.verdict import verdict
from coincide.report.plots.figures import comparison_figure, pair_edges, session_figures
from coincide.report.plots.series import drawn
from coincide.report.words.left_over import what_it_leaves
from coincide.report.words.numbers import ms, percent
from coincide.report.words.quantities import QUANTITY_COLUMNS, rows_of
from coincide.report.words.recording import SAFETY
from coincide.report.words.series import (
    BUDGET_COLUMNS,
    RECORDED,
    body_columns,
    body_rows,
    budget_rows,
    budget_sentence,
    has_lag,
    lateness,
    remarks,
    shares_an_error,
    source_sentence,
    verified,
    was_recorded,
    was_watched,
    what_to_expect,
    who,
)
from coincide.session.model import BODIES
from coincide.timing.analysis import Analysis, Measured
from coincide.timing.budget.quantities import reported
from coincide.timing.offset.verify import Verification

PAIRS_ON_PAGE = 300  # more would make the page heavy on a phone; the session file keeps all

HARMLESS = ("bounce", "early flick")  # good to know; nothing has to be done before shooting

ALTS = {
    "skew-by-shot": "Skew of every pair in milliseconds against its number, with the tolerance band.",
    "distribution": "Histogram of the skews with the suggested offset, its interval and the tolerance.",
    "before-after": "Skews before and with the offset on one axis, tolerance about zero marked.",
    "one-pair": "Every edge of one typical pair on a time axis, lane by lane.",
}
CAPTIONS = {
    "skew-by-shot": "Each dot is one pair: click it to see its edges. The band is the tolerance about the centre; "
    "a pair outside it would show a ghost on the design subject.",
    "distribution": "Where the skews lie without any offset. The pale field is what the offset brings within "
    "tolerance.",
    "before-after": "The measured series above, the fresh series with the offset on below.",
    "one-pair": "The pair nearest the middle of the series, from the first full-press on.",
}


def page_content(
    analysis: Analysis, name: str, fresh: Analysis | None, verification: Verification | None
) -> Page:
    """The page about session `name`; with a fresh series, before and after too."""
    measured = analysis.measured
    header = measured.session.header
    packed = pack_measured(measured) if measured.shots.number.size > PAIRS_ON_PAGE else None
    figures = {key: _figure(key, figure) for key, figure in session_figures(analysis).items()}
    if "skew-by-shot" in figures:
        figures["skew-by-shot"] = _clickable(figures["skew-by-shot"], analysis)
    source = source_sentence(measured)
    lead = [] if source is None else [source]
    lead += [] if analysis.suggestion is None else [lateness(analysis)]
    if verification is not None and analysis.suggestion is not None:
        lead += verified(measured.rig, analysis.suggestion, verification)
    lead += subject_lines(measured.rig, analysis.suggestion)
    return Page(
        title=f"{measured.rig.name}: {' and '.join(header.exposures)}",
        kicker=f"{measured.rig.name}, {header.exposures[0]} (A) and {header.exposures[1]} (B), {header.created[:10]}",
        verdict=verdict(analysis, verification),
        strip=strip(analysis, verification),
        lead=tuple(lead),
        invented=header.simulated,
        settings=_settings(analysis),
        sections=tuple(_sections(analysis, figures, fresh, verification)),
        pairs=tuple(_pairs(analysis)),
        pairs_note=_pairs_note(measured, packed),
        packed=packed,
        has_lag=has_lag(measured),
        cautions=_cautions(measured),
        provenance=tuple(_provenance(measured, name)),
        rig_toml=header.rig_toml,
        footer="Made by coincide from the raw edges in the session file; everything here can be worked out again.",
        version=version("coincide"),
    )


def _figure(name: str, figure: object) -> PageFigure:
    from matplotlib.figure import Figure

    assert isinstance(figure, Figure)
    return page_figure(figure, name, ALTS[name], CAPTIONS[name])


def _clickable(figure: PageFigure, analysis: Analysis) -> PageFigure:
    """The dots of 'skew by shot' know their pairs: those on this page can be clicked."""
    measured, found = analysis.measured, analysis.suggestion
    numbers = measured.shots.number
    seen = np.isfinite(measured.skew_s)
    aside = np.zeros(numbers.size, dtype=np.bool_)
    if found is not None:
        aside[[*found.first, *found.outliers]] = True
    on_page = frozenset(int(numbers[row]) for row in _rows_shown(measured))
    plain = drawn(np.where(aside, np.nan, measured.skew_s))
    groups = {"pairs": numbers[plain], "aside": numbers[seen & aside]}
    return replace(
        figure,
        svg=with_pairs(figure.svg, "skew-by-shot", groups, on_page),
        narrow=with_pairs(figure.narrow, "skew-by-shot-narrow", groups, on_page),
    )


def _settings(analysis: Analysis) -> tuple[Setting, ...]:
    found, rig = analysis.suggestion, analysis.measured.rig
    if found is None:
        return ()
    half_s = (found.interval_s[1] - found.interval_s[0]) / 2
    low, high = found.next_frame_s
    ranged = shares_an_error(found)
    body = "Nothing" if found.body_to_delay is None else who(rig)[BODIES.index(found.body_to_delay)]
    setting = f"Make {body} later by" if was_watched(analysis.measured) else f"Delay {body} by"
    return (
        Setting(setting, ms(found.delay_s, half_s), f"give or take {ms(half_s, half_s)} (95 %)"),
        Setting(
            "Expected keepers",
            percent(found.expected_keepers),
            f"within ±{ms(found.tolerance_s, found.tolerance_s / 20)}"
            + (f"; {percent(found.keepers_range[0])} to {percent(found.keepers_range[1])}" if ranged else ""),
        ),
        Setting(
            "Next frame's skew",
            f"{ms(low, (high - low) / 20).removesuffix(' ms')} to {ms(high, (high - low) / 20)}",
            "95 % of frames, offset on",
        ),
    )


def _sections(
    analysis: Analysis,
    figures: dict[str, PageFigure],
    fresh: Analysis | None,
    verification: Verification | None,
) -> list[Section]:
    measured = analysis.measured
    pictures = [figures[key] for key in ("skew-by-shot", "distribution") if key in figures]
    sections = []
    if fresh is not None:
        drawn = _figure("before-after", comparison_figure(analysis, fresh.measured, verification))
        sections.append(Section("before-after", "Before and after", figures=(drawn,)))
    expect = () if analysis.suggestion is None else what_to_expect(analysis.suggestion)
    expect += what_it_leaves(analysis)
    sections.append(Section("measured", "What was measured", lines=expect, figures=tuple(pictures)))
    findings = tuple(
        PageFinding(finding.say, finding.advice, bool(finding.advice) and finding.code not in HARMLESS)
        for finding in sorted(analysis.findings, key=lambda finding: finding.code in HARMLESS)
    )
    remarked = tuple(PageFinding(said, "", False) for said in remarks(analysis))
    columns = tuple(Column(name, "," in name) for name in body_columns(measured))
    table = PageTable("Each body", columns, tuple(body_rows(measured)))
    drawn_pair = (figures["one-pair"],) if "one-pair" in figures else ()
    sections.append(
        Section(
            "bodies",
            "Each body's behaviour",
            figures=drawn_pair,
            findings=findings + remarked,
            tables=(table,),
        )
    )
    columns = tuple(Column(name, False) for name in QUANTITY_COLUMNS)
    quantities = reported(analysis)
    rows = tuple(rows_of(quantities, measured.rig))
    tables = [PageTable("What was measured, and how well", columns, rows)]
    lines: tuple[str, ...] = ()
    budget = quantities[0].budget  # of the skew
    if budget is not None:
        columns = tuple(Column(name, "," in name) for name in BUDGET_COLUMNS)
        rows = tuple(budget_rows(budget))
        tables.append(PageTable("What makes the skew uncertain, largest first", columns, rows))
        lines = (budget_sentence(budget),)
    sections.append(Section("uncertainty", "Uncertainty", lines=lines, tables=tuple(tables)))
    invented = measured.session.header.simulated
    return sections + planning_sections(measured.rig, analysis.suggestion, invented=invented)


def _pairs(analysis: Analysis) -> list[PagePair]:
    measured, found = analysis.measured, analysis.suggestion
    rows = _rows_shown(measured)
    # Judged with the offset that was found, or as fired where none was.
    change_s = 0.0 if found is None else measured.offset_on_s - found.offset_s
    left_s = measured.skew_s + change_s
    return [
        PagePair(
            number=int(measured.shots.number[row]),
            lag_a=_ms(measured.lag_s[row, 0]),
            lag_b=_ms(measured.lag_s[row, 1]),
            skew=_ms(measured.skew_s[row]),
            left=_ms(left_s[row]),
            verdict=_verdict(float(left_s[row]), measured.tolerance_s),
            edges=pair_edges(measured, int(row)),
        )
        for row in rows
    ]


def _rows_shown(measured: Measured) -> list[int]:
    """All rows, or of a long session the first, the last and the most extreme ones."""
    total = measured.shots.number.size
    if total <= PAIRS_ON_PAGE:
        return list(range(total))
    third = PAIRS_ON_PAGE // 3
    away = np.abs(measured.skew_s - np.nanmedian(measured.skew_s))
    worst = np.argsort(np.where(np.isfinite(away), -away, -np.inf))[:third]
    return sorted({*range(third), *range(total - third, total), *map(int, worst)})


def _pairs_note(measured: Measured, packed: Packed | None) -> str:
    total = measured.shots.number.size
    if total <= PAIRS_ON_PAGE:
        return ""
    here = f"Of {total} pairs the first, the last and the most unusual are in the table"
    if packed is None:
        return f"{here}; the session file has all."
    return f"{here}; any other comes by its number, its times to {1e6 * packed.step_s:g} us."


def _verdict(skew_s: float, tolerance_s: float) -> str:
    if not np.isfinite(skew_s):
        return "not measured"
    return "within tolerance" if abs(skew_s) <= tolerance_s else "out of tolerance"


def _ms(value_s: float) -> str:
    return f"{value_s * 1e3:.3f}" if np.isfinite(value_s) else "-"


def _cautions(measured: Measured) -> tuple[str, ...]:
    """Of what the hand does next: a recording leads no release, and its leads have cautions of their own."""
    from coincide_wiring.cautions import cautions_for

    if was_recorded(measured):
        return (*SAFETY, *(caution.say for caution in cautions_for("gate")))
    return tuple(caution.say for place in ("arm", "meter", "gate") for caution in cautions_for(place))


def _provenance(measured: Measured, name: str) -> list[Provenance]:
    header = measured.session.header
    board = header.box.get("board", {})
    recording = measured.known.recording
    timed_by = (
        Provenance(
            "box",
            f"{board.get('board', 'unknown')}, id {board.get('uid', 'unknown')}, "
            f"firmware {header.box.get('firmware', 'unknown')}, {header.tick_hz / 1e6:g} MHz",
        )
        if recording is None
        else Provenance(
            "edges read from",
            f"{RECORDED.get(recording.source, recording.source)}: {recording.file}, SHA-256 {recording.sha256}",
        )
    )
    confirmed = (
        [
            Provenance(
                "confirmed before the series", "; ".join(header.confirmed) or "nothing (simulated, or older)"
            )
        ]
        if recording is None
        else []
    )
    return [
        Provenance("session file", name),
        Provenance("begun", header.created),
        Provenance("purpose", header.purpose),
        Provenance("pairs", f"{measured.shots.number.size}, of which {measured.answered} with a skew"),
        Provenance("rig", measured.rig.name),
        timed_by,
        *confirmed,
        Provenance("coincide", version("coincide")),
    ]
