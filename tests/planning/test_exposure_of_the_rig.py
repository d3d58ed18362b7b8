"""Lenses drawn out, blades stopped down, latitude, and the light a calibrated pair is right for."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from coincide.planning.exposure.body import BodyExposure
from coincide.planning.exposure.light import calibrated_pairs
from coincide.planning.exposure.pairing import Pairing, pair_exposures
from coincide.planning.skew_model import skew_model
from coincide.report.words.exposure import can_be_set, light_words, off_words
from coincide.rig.calibration import Found
from coincide.rig.optics.leaf import effective_exposure_s
from coincide.rig.optics.stops import meter_reading
from coincide.units import shutter_time
from tests.rig.rigs import REMOVE, rig_with
from tests.rig.test_calibration import CALIBRATION

LARGE: dict[str, Any] = {
    "focal_length": "150 mm",
    "aperture": "f/16",
    "widest": "f/5.6",
    "smallest": "f/64",
    "focused": "1 m",
}
BLADES: dict[str, Any] = {"kind": "leaf", "exposure": "1/400", "opening": "1.8 ms", "closing": "2.2 ms"}


def plan(light: str, changes: dict[str, Any] | None = None, **more: Any) -> Pairing:
    return pair_exposures(rig_with(changes), meter_reading(light), **more)


def near_focus(body: BodyExposure) -> float:
    return sum(step.stops for step in body.steps if step.source.endswith("lens.focused"))


# ---- a lens drawn out --------------------------------------------------------------------------------


def test_a_lens_drawn_out_loses_the_square_of_its_extension() -> None:
    """Judge: the extension found by a root search on the lens equation, and the handbooks' (extension / f)^2, from
    memory. 150 mm at 1 m on the scale: 0.586 stop."""

    def off(extension: float) -> float:
        return 1 / 0.15 - 1 / extension - 1 / (1.0 - extension)

    extension = brentq(off, 0.151, 0.4)
    wanted = -2 * math.log2(extension / 0.15)
    found = near_focus(plan("EV 12", {"bodies.a.lens": LARGE}).bodies[0])
    assert found == pytest.approx(wanted, abs=1e-6)
    assert found == pytest.approx(-0.586, abs=5e-4)


@pytest.mark.parametrize("pupils", [0.6, 1.0, 1.7])
def test_the_pupils_enter_as_a_paraxial_trace_says(pupils: float) -> None:
    """Judge: a paraxial trace through a thin lens with its stop at a distance, on the side that gives the pupils that
    ratio: how flat the marginal ray comes in on film, near against far."""
    f, distance = 0.15, 0.8162
    # A stop `gap` behind the lens is the exit pupil itself; the entrance pupil is its image through the lens.
    gap = f * (1 - pupils)  # image of the stop: magnified by f / (f - gap) = 1 / pupils
    entrance = gap / (1 - gap / f)  # distance behind the lens of the stop as seen from in front
    half = 0.01

    def slope_at_the_film(ray: np.ndarray[Any, Any]) -> float:
        thin = np.array([[1.0, 0.0], [-1 / f, 1.0]])
        return abs(float((thin @ ray)[1]))

    far = slope_at_the_film(np.array([half, 0.0]))
    angle = half / (distance + entrance)  # from the axial point to the edge of the entrance pupil
    near = slope_at_the_film(np.array([angle * distance, angle]))
    wanted = 2 * math.log2(near / far)  # the light falls with the square of the cone
    changes = {"bodies.a.lens": LARGE | {"pupil_magnification": pupils}}
    assert near_focus(plan("EV 12", changes).bodies[0]) == pytest.approx(wanted, abs=1e-3)


def test_infinity_and_small_drawing_out_cost_nothing() -> None:
    assert near_focus(plan("EV 12", {"bodies.a.lens": LARGE | {"focused": "infinity"}}).bodies[0]) == 0
    assert near_focus(plan("EV 12").bodies[0]) == 0  # 35 mm at 15 m: 0.007 stop


# ---- blades stopped down -----------------------------------------------------------------------------


def light_through(opening_s: float, closing_s: float, marked_s: float, area: float) -> float:
    """Seconds of full light that a small aperture gets, by summing over the time: blades uncover the area of the wide
    aperture evenly, from the middle out; the time between both ramps' half-way is the mark."""
    time = np.linspace(0.0, opening_s + marked_s + closing_s, 200_001)
    shuts = opening_s / 2 + marked_s - closing_s / 2
    uncovered = np.clip(time / opening_s, 0, 1) - np.clip((time - shuts) / closing_s, 0, 1)
    return float(np.trapezoid(np.minimum(uncovered, area) / area, time))


@pytest.mark.parametrize(
    ("widest", "grown"), [("f/5.6", 0.77), ("f/2", 0.84)]
)  # 0.85 is the limit of a tiny aperture
def test_blades_stopped_down_expose_longer(widest: str, grown: float) -> None:
    """Judge: a sum over the time of what the blades leave open. 1/400 at f/16, 1.8 and 2.2 ms."""
    lens = LARGE | {"widest": widest, "focused": "infinity"}
    rig = rig_with({"bodies.a.shutter": BLADES, "bodies.a.lens": lens})
    found = effective_exposure_s(rig.bodies.a)
    area = (rig.bodies.a.lens.widest / 16) ** 2
    assert found == pytest.approx(light_through(1.8e-3, 2.2e-3, 1 / 400, area), rel=1e-3)
    assert math.log2(found * 400) == pytest.approx(grown, abs=0.006)
    assert effective_exposure_s(rig.bodies.a, aperture=rig.bodies.a.lens.widest) == 1 / 400
    assert effective_exposure_s(rig.bodies.b) == 2**-5  # curtains do not care


def test_what_is_set_reckons_with_the_blades() -> None:
    """4.25 ms of light from 1/400: the dial's 1/400 is right where 1/250 would be without blades."""
    lens = LARGE | {"focused": "infinity"}
    changes = {"bodies.a.shutter": BLADES | {"marked": ["1/400", "1/200", "1/100"]}, "bodies.a.lens": lens}
    needs_s = 4.25e-3
    light = math.log2(16**2 / needs_s / 0.7)
    body = plan(f"EV {light:.4f}", changes).bodies[0]
    assert body.mark.text == "1/400"
    assert body.error_stops == pytest.approx(0, abs=0.01)
    assert body.grown_stops == pytest.approx(0.77, abs=0.006)
    pairing = plan(f"EV {light:.4f}", changes)
    apart_s = abs(pairing.bodies[1].mark.nominal_s - needs_s)
    assert pairing.blur_each_end_s == pytest.approx(apart_s / 2, rel=0.01)


# ---- latitude ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("stops", "words"),
    [(0.485, "0.5 stop over"), (-0.26, "0.3 stop under"), (1.24, "1.2 stops over"), (0.04, "right")],
)
def test_tenths_of_a_stop(stops: float, words: str) -> None:
    assert off_words(stops) == words


def test_a_negative_stands_two_stops_over_and_a_slide_does_not() -> None:
    thin = {"bodies.a.shutter.marked": ["1/60"], "bodies.a.film.latitude": "negative"}
    assert can_be_set(plan("EV 14", thin, apertures=(None, 8.0)))
    slide = plan("EV 14", thin | {"bodies.a.film.latitude": "slide"}, apertures=(None, 8.0))
    assert not can_be_set(slide)
    assert slide.mends[1] is None
    own = thin | {"bodies.a.film.latitude": {"under": 0.3, "over": 1.6}}
    assert can_be_set(plan("EV 14", own, apertures=(None, 8.0)))


@pytest.mark.parametrize(
    ("light", "changes", "aperture", "filter_stops", "says"),
    [
        ("EV 14", {}, 11.0, 0, "Stop Lapwing down to f/11 and set 1/60."),
        ("EV 11", {}, 5.0, 0, "Open Lapwing to f/5 and set 1/60."),
        ("EV 18", {}, None, 5, "Put a grey filter of 5 stops on Lapwing and set 1/60."),
        (
            "EV 5",
            {},
            None,
            0,
            "No aperture of its lens mends that: at f/2 and 1/60 it still wants 3.5 stops more",
        ),
    ],
)
def test_what_would_mend_it(
    light: str, changes: dict[str, Any], aperture: float | None, filter_stops: int, says: str
) -> None:
    """Judged by carrying it out: the mended setting, asked again, is within the latitude."""
    one_time = changes | {"bodies.a.shutter.marked": ["1/60"]}
    pairing = plan(light, one_time)
    way = pairing.mends[0]
    assert way is not None
    assert (way.aperture, way.filter_stops) == (aperture, filter_stops)
    assert any(says in one and "Lapwing would need" in one for one in pairing.warnings), pairing.warnings
    if way.then is not None:
        filtered = {"bodies.a.film.filter_stops": float(filter_stops)}
        again = plan(light, one_time | filtered, apertures=(aperture, None)).bodies[0]
        assert again.within
        assert again.error_stops == pytest.approx(way.then.error_stops)


# ---- an index that was found through the glass -------------------------------------------------------


def test_an_index_found_through_the_glass_counts_it_once() -> None:
    index = {"bodies.b.film.filter_stops": REMOVE, "bodies.b.film.effective_index": 25}
    through = plan("EV 12", index | {"bodies.b.film.index_includes_glass": True}).bodies[1]
    before = plan("EV 12", index).bodies[1]
    assert before.metered_s * 0.42 == pytest.approx(through.metered_s)
    assert [step.name for step in through.steps] == ["index 25 behind filter and glass"]


# ---- for which light a calibrated pair is right ------------------------------------------------------


def kept(pair: tuple[str, str], apertures: tuple[float, float] = (8.0, 4.0)) -> Found:
    return Found(
        Path("+".join(pair).replace("/", "-")),
        replace(CALIBRATION, exposures=pair, apertures=apertures, rig={}),
    )


@pytest.mark.parametrize("film", [{}, {"bodies.b.film.reciprocity": {"table": [["1/30 s", "1/10 s"]]}}])
def test_a_calibrated_pair_is_right_for_just_that_light(film: dict[str, Any]) -> None:
    """Judged by asking at many readings whether the pair as it stands is within both latitudes."""
    changes = film | {"bodies.a.film.latitude": "negative"}
    pair = calibrated_pairs(rig_with(changes), [kept(("1/60", "1/30"))])[0]
    both = pair.both_ev100
    assert both is not None
    for step in range(80, 160):
        light = step / 10 + 0.003
        right = all(body.within for body in plan(f"EV {light}", changes).standing)
        assert right == (both[0] <= light <= both[1]), light


def test_the_newest_of_each_pair_and_what_no_light_suits() -> None:
    rig = rig_with()
    found = [kept(("1/60", "1/30")), kept(("1/60", "1/1000")), kept(("1/60", "1/30"))]
    pairs = calibrated_pairs(rig, found)
    assert [one.preset for one in pairs] == ["1/60+1/30", "1/60+1/1000"]
    assert light_words(rig, pairs[0]) == "right from EV 12.1 to 12.7"
    assert pairs[1].both_ev100 is None
    assert light_words(rig, pairs[1]).startswith("right for both at no light, Lapwing from EV 12.1 to 13,")


def test_blades_are_calibrated_at_an_aperture() -> None:
    lens = LARGE | {"focused": "infinity"}
    rig = rig_with({"bodies.a.shutter": BLADES, "bodies.a.lens": lens})
    found = [kept(("1/400", "1/30"), (16.0, 4.0)), kept(("1/400", "1/30"), (32.0, 4.0))]
    pairs = calibrated_pairs(rig, found)
    assert [one.apertures[0] for one in pairs] == [16.0, 32.0]
    assert not any(one.stale for one in pairs)
    # Judge: two stops of aperture, less what the blades add at the smaller one.
    area = (rig.bodies.a.lens.widest / np.array([16.0, 32.0])) ** 2
    exposes = [light_through(1.8e-3, 2.2e-3, 1 / 400, one) for one in area]
    wanted = 2 - math.log2(exposes[1] / exposes[0])
    assert pairs[1].right_ev100[0][0] - pairs[0].right_ev100[0][0] == pytest.approx(wanted, abs=0.005)


def test_a_stale_calibration_is_told() -> None:
    old = replace(kept(("1/60", "1/30")).calibration, rig={"bodies.a.release": "solenoid"})
    pairing = plan("EV 12.5", found=[Found(Path("old.toml"), old)])
    assert pairing.calibration == "old.toml"
    assert any("no longer holds: bodies.a.release was 'solenoid'" in one for one in pairing.warnings)
    assert pairing.pairs[0].stale


def test_dials_go_beyond_four_seconds() -> None:
    marked = ["1/60", "1 s", "4 s", "8 s", "15 s", "30 s"]
    pairing = plan("EV 3", {"bodies.a.shutter.marked": marked})
    assert pairing.bodies[0].mark.text == "15 s"
    assert shutter_time("15 s").nominal_s == 16
    assert any("longer than the box listens" in one for one in pairing.warnings)


def test_limits_and_budget_count_what_the_blades_add() -> None:
    """Judge: the sum over the time of what the blades leave open, for both bodies' exposures."""
    lens = LARGE | {"focused": "infinity"}
    rig = rig_with({"bodies.a.shutter": BLADES, "bodies.a.lens": lens})
    area = (rig.bodies.a.lens.widest / 16) ** 2
    wanted = (2**-5 - light_through(1.8e-3, 2.2e-3, 1 / 400, area)) / 2
    model = skew_model(rig, jitter_s=1e-3)
    assert model.unequal_s == pytest.approx(wanted, rel=1e-3)
    assert any("blades are stopped down" in link.source for link in model.chain)
