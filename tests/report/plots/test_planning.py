"""The planning pictures draw what the plan says, and the page carries both sections without the network."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.collections import QuadMesh
from matplotlib.contour import QuadContourSet
from matplotlib.figure import Figure

from coincide.planning.plan import limits_plan
from coincide.report.page.planning import planning_sections
from coincide.report.plots.planning import limits_plot, planning_figures, skew_map_plot, write_planning_plots
from coincide.rig.optics.tolerance import tolerance
from coincide.timing.offset.suggest import OffsetSuggestion, suggest_offset
from tests.report.card.test_card import EQUAL, SIDE_BY_SIDE
from tests.report.plans import basis_with
from tests.rig.rigs import rig_with

AGAINST: dict[str, Any] = {"bodies.b.mount.top_plate": "towards the photographer"}


def suggestion() -> OffsetSuggestion:
    skew_s = np.random.default_rng(3).normal(0.018, 0.001, 40)
    start_s = np.arange(40, dtype=np.float64) * 3.0
    return suggest_offset(
        skew_s,
        tolerance_s=0.003,
        resolution_s=1e-8,
        start_s=start_s,
        rest_s=np.full(40, 3.0),
    )


def map_values(figure: Figure) -> np.ndarray[Any, Any]:
    mesh = next(one for one in figure.axes[0].collections if isinstance(one, QuadMesh))
    return np.asarray(mesh.get_array())


def test_every_lens_has_its_line_with_the_values_of_the_table() -> None:
    plan = limits_plan(basis_with(), focal_lengths_m=(0.028, 0.05, 0.135))
    lines = {str(line.get_label()): line for line in limits_plot(plan).axes[0].get_lines()}
    assert len(lines) == 7
    assert lines["across, 50 mm"].get_ydata() == pytest.approx(plan.found.kept_across_m_s[:, 1])
    assert lines["135 mm, by skew alone"].get_ydata() == pytest.approx(plan.found.across_m_s[:, 2])
    # Told apart without colour: marker by lens, dashes and open markers by kind.
    styles = {
        (line.get_marker(), line.get_linestyle(), str(line.get_markerfacecolor())) for line in lines.values()
    }
    assert len(styles) == 7


def test_equal_exposures_still_blur() -> None:
    plan = limits_plan(basis_with(EQUAL, exposures=("1/60", "1/60")))
    labels = [line.get_label() for line in limits_plot(plan).axes[0].get_lines()]
    assert labels == ["across, 35 mm", "35 mm, by skew alone", "towards"]
    assert (plan.found.kept_across_m_s < plan.found.across_m_s).all()


def test_everyday_subjects_stand_at_their_speeds_and_their_names_in_their_bands() -> None:
    plan = limits_plan(basis_with())
    figure = limits_plot(plan)
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    ladder = figure.axes[1]
    assert len(ladder.patches) == len(plan.found.everyday) == len(ladder.texts)
    for one, band, name in zip(plan.found.everyday, ladder.patches, ladder.texts, strict=True):
        low = band.get_window_extent(renderer)
        extent = name.get_window_extent(renderer)
        assert name.get_text().replace("\n", " ") == one.name
        assert low.x0 <= extent.x0
        assert extent.x1 <= low.x1, one.name
        assert low.y0 <= extent.y0
        assert extent.y1 <= low.y1, one.name
    boxes = [patch.get_window_extent(renderer).shrunk(0.98, 0.98) for patch in ladder.patches]
    assert not any(first.overlaps(second) for first, second in itertools.combinations(boxes, 2))


def test_the_map_shows_what_the_sweeps_leave_with_the_offset_that_calibrate_sets() -> None:
    figure = skew_map_plot(rig_with(AGAINST))
    assert figure is not None
    values = map_values(figure)
    # Against each other, travels of 7.2 and 6.8 ms: 14 from edge to edge; right in frame centre, which the
    # curtains, still gaining speed, do not pass at half their travel.
    assert values.max() - values.min() == pytest.approx(14.0, abs=0.02)
    assert values[values.shape[0] // 2, values.shape[1] // 2] == pytest.approx(0.0, abs=1e-6)
    mesh = next(one for one in figure.axes[0].collections if isinstance(one, QuadMesh))
    low, high = mesh.get_clim()
    assert low == -high
    red_blue = [mesh.cmap(at)[:3] for at in (0.0, 1.0)]
    assert red_blue[0][2] > red_blue[0][0]  # A late is blue,
    assert red_blue[1][0] > red_blue[1][2]  # B late orange
    assert min(mesh.cmap(0.5)[:3]) > 0.9


def test_the_tolerance_is_drawn_only_where_it_is_passed() -> None:
    def levels(changes: dict[str, Any] | None) -> list[float]:
        figure = skew_map_plot(rig_with(changes))
        assert figure is not None
        sets = [one for one in figure.axes[0].collections if isinstance(one, QuadContourSet)]
        return [float(level) for one in sets for level in one.levels]

    allowed_ms = tolerance(rig_with()).tolerance_s * 1e3
    assert any(abs(level - allowed_ms) < 1e-9 for level in levels(AGAINST))
    assert not any(abs(level - allowed_ms) < 1e-9 for level in levels(None))


def test_no_map_where_nothing_sweeps() -> None:
    assert skew_map_plot(rig_with(SIDE_BY_SIDE)) is None
    plan = limits_plan(basis_with(SIDE_BY_SIDE, exposures=("1/125", "1/125"), apertures=(8.0, 4.0)))
    assert list(planning_figures(plan)) == ["limits"]
    assert plan.asked is None  # judged by a time: there is no subject


def test_one_body_that_sweeps_is_drawn() -> None:
    changes = {"bodies.b.shutter": SIDE_BY_SIDE["bodies.b.shutter"]}
    figure = skew_map_plot(rig_with(changes))
    assert figure is not None
    assert np.ptp(map_values(figure)) == pytest.approx(7.2, abs=0.01)


def test_pictures_are_small_enough_for_a_page(tmp_path: Path) -> None:
    written = write_planning_plots(limits_plan(basis_with()), tmp_path)
    assert [path.name for path in written] == ["limits.png", "skew-map.png"]
    for path in written:
        assert 10_000 < path.stat().st_size < 200_000


def test_the_page_says_both() -> None:
    over, can = planning_sections(rig_with(AGAINST), suggestion())
    assert (over.title, can.title) == ("Over the frame", "What it can photograph")
    assert "against each other" in over.lines[0]
    assert "The best single offset" in over.lines[1]
    assert "Mount B with the top plate towards the scene" in over.lines[2]
    assert can.tables[0].rows[0][0] == "2"
    sources = [row[2] for row in can.tables[-1].rows]
    assert "this series, jitter" in sources
    assert "given" not in sources
    for section in (over, can):
        for figure in section.figures:
            outside = re.findall(r"(?:href|src|url)\s*[=(]\s*[\"']?\s*https?:", figure.svg)
            assert not outside
            assert figure.alt
            assert figure.caption


def test_a_series_without_an_offset_shows_the_frame_alone() -> None:
    assert [section.id for section in planning_sections(rig_with(), None)] == ["over-the-frame"]


def test_the_chain_of_a_plan_says_each_thing_once() -> None:
    plan = limits_plan(basis_with())
    assert len(plan.chain) == len(set(plan.chain))
    assert plan.asked is not None
    same = replace(plan, asked=None)
    assert set(same.chain) < set(plan.chain)
