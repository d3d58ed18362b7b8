"""The cyclist on both films: as far apart, and as smeared, as speed and times say."""

from __future__ import annotations

import numpy as np
import pytest

from coincide.planning.skew_model import skew_model
from coincide.planning.verdict import Use, verdict
from coincide.report.page.planning import planning_sections, subject_lines
from coincide.report.plots.outlines import CELL_M, exposed, outlines_plot, silhouette
from tests.report.plots.test_planning import suggestion
from tests.rig.rigs import rig_with


def test_a_film_shows_him_moved_and_smeared() -> None:
    still = silhouette()
    moved = exposed(still, 4.0, 0.020, 1 / 32)
    columns = np.arange(still.shape[1])

    def middle_and_spread(picture: np.ndarray) -> tuple[float, float]:
        weight = picture.sum(axis=0)
        middle = float(np.average(columns, weights=weight))
        return middle, float(np.average((columns - middle) ** 2, weights=weight))

    (was, narrow), (now, wide) = middle_and_spread(still), middle_and_spread(moved)
    assert (now - was) * CELL_M == pytest.approx(4.0 * 0.020, abs=CELL_M)
    # A uniform smear of width w adds w**2 / 12 to the variance.
    assert np.sqrt((wide - narrow) * 12) * CELL_M == pytest.approx(4.0 / 32, rel=0.1)


def test_the_picture_says_how_far_apart_and_whether_he_is_kept() -> None:
    rig = rig_with()
    assert rig.tolerance.subject is not None
    found = verdict(Use(rig, skew_model(rig, jitter_s=0.001), rig.tolerance.subject))
    axes = outlines_plot(found, 0.020, 0.0018).axes[0]
    said = [text.get_text() for text in axes.texts]
    assert said == ["before: 195 um apart", "with the offset: 18 um apart"]
    assert axes.get_xlabel().endswith("own motion blur 152 um and 305 um, 30 um allowed: he is not kept")


def test_the_page_of_an_invented_series_shows_him_and_says_it_plainly() -> None:
    invented = planning_sections(rig_with(), suggestion(), invented=True)[1]
    measured = planning_sections(rig_with(), suggestion())[1]
    assert len(invented.figures) == len(measured.figures) + 1
    assert subject_lines(rig_with(), suggestion())[0].startswith("Not kept: a cyclist on the dyke")
    assert subject_lines(rig_with(), None) == ()
