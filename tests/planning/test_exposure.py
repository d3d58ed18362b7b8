"""One reading for two bodies: stops worked by hand, the field's rule of thumb, and every warning."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coincide.errors import BadInput
from coincide.planning.exposure.body import splitter_light
from coincide.planning.exposure.pairing import Pairing, pair_exposures, pairing_chain
from coincide.planning.exposure.reciprocity import metered_for, with_reciprocity
from coincide.rig.calibration import Found
from coincide.rig.film import Film
from coincide.rig.optics.stops import (
    THIRD_STOP_MARKS,
    aperture_mark,
    aperture_value,
    meter_reading,
    nearest_mark,
)
from tests.rig.rigs import REMOVE, rig_with
from tests.rig.test_calibration import CALIBRATION

VISIBLE_COATING: dict[str, Any] = {"splitter.bands.infrared": {"transmission": 0.7, "reflection": 0.3}}


def at_f8(light: str, changes: dict[str, Any] | None = None, **more: Any) -> Pairing:
    return pair_exposures(rig_with(changes), meter_reading(light), apertures=(8.0, 8.0), **more)


@pytest.mark.parametrize(
    ("text", "ev100"),
    [
        ("EV 12", 12.0),
        ("12.3 EV", 12.3),
        ("LV 15", 15.0),
        ("EV -2", -2.0),
        ("1/250 f/8", 14.0),
        ("f/8 1/250", 14.0),
        ("f/5.6, 1/60", 11.0),
        ("1/125 s at f/11 ISO 100", 14.0),
        ("1/250 f/8 ISO 400", 12.0),
        ("2 s f/8 at ISO 100", 5.0),
    ],
)
def test_meter_readings(text: str, ev100: float) -> None:
    assert meter_reading(text).ev100 == pytest.approx(ev100)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "bright",
        "f/8",
        "1/250",
        "f/8 f/8",
        "EV",
        "EV 99",
        "f/0 1/250",
        "f/8 1/0",
        "f/8 1/250 ISO 0",
        "f/. 1/60",
    ],
)
def test_what_is_no_reading(text: str) -> None:
    with pytest.raises(BadInput, match=r"not understood|no light|no film speed") as refusal:
        meter_reading(text)
    assert str(refusal.value).endswith(".")


@given(st.text(max_size=25))
def test_any_text_is_a_reading_or_refused(text: str) -> None:
    message = "."
    try:
        meter_reading(text)
    except BadInput as refusal:
        message = str(refusal)
    assert message.endswith(".")


def test_marks_stand_for_thirds_of_a_stop() -> None:
    for at, mark in enumerate(THIRD_STOP_MARKS):
        if mark != 1.2:  # on lenses it is meant exactly: halfway between two thirds
            assert aperture_value(mark) == pytest.approx(-1 + at / 3)
            assert aperture_mark(aperture_value(mark)) == mark
    assert aperture_value(6.7) == pytest.approx(2 * math.log2(6.7))  # a half stop is left as it is


def test_each_body_gets_the_light_that_reaches_it() -> None:
    """Worked by hand: EV 13 at f/8 asks for 2**-7 s at ISO 100 without glass."""
    pairing = at_f8("EV 13", VISIBLE_COATING)
    first, second = pairing.bodies
    assert first.metered_s == pytest.approx(2**-7 / 0.7)
    assert second.metered_s == pytest.approx(2**-7 / 0.3 * 2**4 / 4)
    assert (first.mark.text, second.mark.text) == ("1/60", "1/8")
    assert first.error_stops == pytest.approx(math.log2(2**-6 / (2**-7 / 0.7)))
    assert first.error_thirds == 1
    assert first.aperture == second.aperture == 8.0
    assert pairing.apart_stops == pytest.approx(3.0)
    assert pairing.blur_each_end_s == pytest.approx((2**-3 - 2**-6) / 2)
    assert pairing.preset == "1/60+1/8"


def test_two_stops_then_two_more() -> None:
    """One film and filter (ISO 400 behind four stops, index 25), a 70/30 glass: four stops from ISO 100 in all."""
    pairing = pair_exposures(rig_with(VISIBLE_COATING), meter_reading("EV 13"))
    second = pairing.bodies[1]
    assert [round(step.stops, 3) for step in second.steps] == [2.0, -4.0, -1.737]
    assert second.stops == pytest.approx(-3.737, abs=1e-3)
    assert (
        "open two stops for the glass, then two stops more for the film behind its filter" in pairing.why[1]
    )
    assert "the rounding is +0.26 stop" in pairing.why[1]
    index = {"bodies.b.film.filter_stops": REMOVE, "bodies.b.film.effective_index": 25}
    again = pair_exposures(rig_with(VISIBLE_COATING | index), meter_reading("EV 13"))
    assert again.bodies[1].metered_s == pytest.approx(second.metered_s)
    assert "then two stops more" in again.why[1]


def test_each_film_has_its_own_band_of_the_glass() -> None:
    rig = rig_with()
    assert splitter_light(rig, 0, "visible") == (0.7, "splitter.bands.visible.transmission")
    assert splitter_light(rig, 1, "infrared") == (0.42, "splitter.bands.infrared.reflection")
    side_by_side = rig_with({"splitter": REMOVE, "bodies.b.mount": {"looks": "straight", "top_plate": "up"}})
    assert splitter_light(side_by_side, 1, "infrared")[0] == 1.0


def test_four_stops_apart_leave_fifteen_milliseconds_and_the_aperture_is_the_cure() -> None:
    changes = {"bodies.b.shutter.marked": ["1/500", "1/60", "1/30"], "bodies.b.film.filter_stops": 5.0}
    pairing = pair_exposures(
        rig_with(VISIBLE_COATING | changes), meter_reading("EV 15"), apertures=(5.6, 5.6)
    )
    assert [body.mark.text for body in pairing.bodies] == ["1/500", "1/30"]
    assert pairing.blur_each_end_s == pytest.approx(0.0146, abs=1e-4)
    assert any("4 stops longer" in one and "14.6 ms are left at each end" in one for one in pairing.warnings)
    opening = pairing.opening
    assert opening is not None
    assert opening.body == 1
    assert opening.aperture == 2.0  # three stops is all its lens has
    assert "It costs depth of field" in opening.say
    assert opening.blur_each_end_s < pairing.blur_each_end_s


def test_apertures_may_be_given_one_by_one() -> None:
    pairing = pair_exposures(rig_with(), meter_reading("EV 12"), apertures=(None, 2.8))
    assert [body.aperture for body in pairing.bodies] == [8.0, 2.8]
    with pytest.raises(BadInput, match=r"bodies\.b\.lens"):
        pair_exposures(rig_with(), meter_reading("EV 12"), apertures=(None, 1.4))


def test_each_body_keeps_the_aperture_it_has_in_the_rig() -> None:
    pairing = pair_exposures(rig_with(), meter_reading("EV 12"))
    assert [body.aperture for body in pairing.bodies] == [8.0, 4.0]
    assert [body.mark.text for body in pairing.standing] == ["1/60", "1/30"]
    # By hand: A needs 2**(6 - 12) / 0.7, B 2**(4 - 12) / 0.42 * 16 / 4.
    wanted = [math.log2(2**-6 * 0.7 * 2**6), math.log2(2**-5 * 0.42 / 4 * 2**8)]
    assert [body.error_stops for body in pairing.standing] == pytest.approx(wanted)
    assert not pairing.as_it_stands
    assert pair_exposures(rig_with(), meter_reading("EV 12.5")).as_it_stands


def test_without_a_film_there_is_no_pairing() -> None:
    with pytest.raises(BadInput, match=r"bodies\.b\.film is missing"):
        pair_exposures(rig_with({"bodies.b.film": REMOVE}), meter_reading("EV 12"))
    dark = rig_with({"splitter.bands.infrared": {"transmission": 0.9, "reflection": 0.0}})
    with pytest.raises(BadInput, match=r"splitter\.bands\.infrared\.reflection is 0"):
        pair_exposures(dark, meter_reading("EV 12"))


def test_the_preset_is_named_or_said_to_be_missing() -> None:
    found = [Found(Path("fen-calibration.toml"), replace(CALIBRATION, exposures=("1/60", "1/15")))]
    pairing = at_f8("EV 13", found=found)
    assert (pairing.preset, pairing.calibration) == ("1/60+1/15", "fen-calibration.toml")
    assert not any("no calibration" in one for one in pairing.warnings)
    without = at_f8("EV 13")
    assert without.calibration is None
    assert any("no calibration for 1/60+1/15" in one for one in without.warnings)


@pytest.mark.parametrize(
    ("changes", "light", "says"),
    [
        ({}, "EV 3", "the nearest time on its dial is 1/8 (bodies.a.shutter.marked): 6.5 stops under"),
        ({}, "EV 20", "stops over"),
        ({}, "EV 16", "above its sync speed 1/125 (bodies.a.shutter.sync_speed)"),
        ({}, "EV 9", "slower than the usual limit by hand, 1/35 s"),
        ({}, "EV 5", "the film's reciprocity turns"),
        ({}, "EV 12", "polarises"),
        (
            {
                "bodies.a.shutter": {
                    "kind": "leaf",
                    "exposure": "1/500",
                    "marked": ["1/500"],
                    "opening": "3 ms",
                    "closing": "3 ms",
                }
            },
            "EV 16",
            "blades cannot expose for 1/500",
        ),
    ],
)
def test_warnings(changes: dict[str, Any], light: str, says: str) -> None:
    warnings = pair_exposures(rig_with(changes), meter_reading(light)).warnings
    assert any(says in one for one in warnings), warnings


def film(**reciprocity: Any) -> Film:
    return Film.model_validate({"iso": 100, "reciprocity": reciprocity})


def test_reciprocity_as_a_power_law() -> None:
    law = film(**{"power": 1.3, "from": "1 s"})
    assert with_reciprocity(law, 0.5) == 0.5
    assert with_reciprocity(law, 1.0) == 1.0
    assert with_reciprocity(law, 10.0) == pytest.approx(10**1.3)
    assert with_reciprocity(Film.model_validate({"iso": 100}), 10.0) == 10.0


def test_reciprocity_as_a_table() -> None:
    law = film(table=[["1 s", "2 s"], ["10 s", "50 s"]])
    assert with_reciprocity(law, 1.0) == pytest.approx(2.0)
    assert with_reciprocity(law, 10.0) == pytest.approx(50.0)
    assert with_reciprocity(law, math.sqrt(10.0)) == pytest.approx(10.0)  # half-way in stops
    assert with_reciprocity(law, 100.0) == pytest.approx(1250.0)  # and on at the last slope
    assert (
        with_reciprocity(film(table=[["1 s", "8 s"], ["10 s", "12 s"]]), 1e3) >= 1e3
    )  # never less than metered
    assert with_reciprocity(law, 0.1) == pytest.approx(0.1)  # a decade below the first: as metered
    assert with_reciprocity(law, 0.01) == 0.01
    times = [with_reciprocity(law, 10 ** (at / 10)) for at in range(-30, 30)]
    assert times == sorted(times)


def test_a_table_of_one_point_goes_on_above_it() -> None:
    """By hand: from 0.1 s, as metered, to 1 s, needing 1.5 s, the slope in stops is log 15 / log 10 = 1.176."""
    law = film(table=[["1 s", "1.5 s"]])
    assert with_reciprocity(law, 0.994) == pytest.approx(1.490, abs=1e-3)
    assert with_reciprocity(law, 1.001) == pytest.approx(1.502, abs=1e-3)  # no step down at the point
    assert with_reciprocity(law, 10.0) / 1.5 == pytest.approx(10**1.176, rel=1e-3)
    warnings = pair_exposures(
        rig_with({"bodies.a.film.reciprocity": {"table": [["1 s", "1.5 s"]]}}), meter_reading("EV 5")
    ).warnings
    assert any("the reciprocity table ends at 1 s metered" in one and "a guess" in one for one in warnings)


@given(st.floats(1e-3, 1e3))
def test_reciprocity_runs_backwards(time_s: float) -> None:
    laws: list[Film] = [
        film(**{"power": 1.3, "from": "1 s"}),
        film(table=[["1 s", "1.5 s"]]),
        film(table=[["1 s", "2 s"], ["10 s", "50 s"], ["20 s", "120 s"]]),
    ]
    for law in laws:
        assert metered_for(law, with_reciprocity(law, time_s)) == pytest.approx(time_s)


def test_the_nearest_mark_is_nearest_in_stops() -> None:
    assert nearest_mark(0.0115, ()).text == "1/60"
    assert nearest_mark(0.0105, ()).text == "1/125"
    assert nearest_mark(100.0, ()).text == "1 s"


def test_every_figure_names_its_key() -> None:
    chain = pairing_chain(pair_exposures(rig_with(), meter_reading("EV 12")))
    assert {link.source.split(":")[0] for link in chain} == {"given", "rig", "computed"}
    assert any(link.source == "rig: splitter.bands.infrared.reflection" for link in chain)
