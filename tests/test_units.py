"""Quantities as people write them come out in SI, and what cannot be read says what was expected."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coincide.errors import BadInput
from coincide.units import Kind, UnitError, f_number, quantity, scan_pitch_m, shutter_time


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("8 ms", "time", 0.008),
        ("18ms", "time", 0.018),
        (" 0.5 s ", "time", 0.5),
        ("-3.5 ms", "time", -0.0035),
        ("250 us", "time", 250e-6),
        ("250 µs", "time", 250e-6),
        ("1e-3 s", "time", 1e-3),
        ("2 min", "time", 120.0),
        ("35 mm", "length", 0.035),
        ("35mm", "length", 0.035),
        ("10 m", "length", 10.0),
        ("30 um", "length", 30e-6),
        ("6 ft", "length", 1.8288),
        ("5 km/h", "speed", 5 / 3.6),
        ("1.4 m/s", "speed", 1.4),
        ("30 mph", "speed", 13.4112),
        ("2 deg/s", "rotation", math.radians(2)),
        ("10°", "angle", math.radians(10)),
    ],
)
def test_quantities(text: str, kind: Kind, expected: float) -> None:
    assert quantity(text, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("8", "time", "has no unit: a time such as '8 ms'"),
        ("8 mm", "time", "is a length: a time such as"),
        ("8 ms", "length", "is a time: a length such as"),
        ("5 km", "speed", "is a length: a speed such as"),
        ("eight ms", "time", "is not understood: a time such as"),
        ("8 florps", "time", "the unit 'florps' is not known"),
        ("8 m/", "speed", "not known"),
        ("", "time", "is not understood"),
        ("1e999 s", "time", "is not finite"),
        ("3 kg", "length", "is a mass"),
        ("2 m/s/s", "speed", "is something else"),
        ("9**9**9 s", "time", "is not understood"),
    ],
)
def test_what_cannot_be_read_says_what_was_expected(text: str, kind: Kind, says: str) -> None:
    with pytest.raises(UnitError) as refusal:
        quantity(text, kind)
    assert says in str(refusal.value)
    assert f"'{text}'" in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "canonical", "marked_s", "nominal_s"),
    [
        ("1/125", "1/125", 0.008, 2.0**-7),
        ("1/125 s", "1/125", 0.008, 2.0**-7),
        (" 1 / 60 sec", "1/60", 1 / 60, 2.0**-6),
        ("1/1000", "1/1000", 0.001, 2.0**-10),
        ("1/8", "1/8", 0.125, 0.125),
        ("0.5 s", "0.5 s", 0.5, 0.5),
        ("1/2", "1/2", 0.5, 0.5),
        ("2 s", "2 s", 2.0, 2.0),
        ("8 ms", "8 ms", 0.008, 0.008),
        ("1/100", "1/100", 0.01, 0.01),
        ("1/50", "1/50", 0.02, 0.02),
    ],
)
def test_shutter_times(text: str, canonical: str, marked_s: float, nominal_s: float) -> None:
    time = shutter_time(text)
    assert (time.text, str(time)) == (canonical, canonical)
    assert time.marked_s == pytest.approx(marked_s, rel=1e-12)
    assert time.nominal_s == pytest.approx(nominal_s, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("auto", "no known middle"),
        ("A", "no known middle"),
        ("B", "bulb"),
        ("T", "bulb"),
        ("1/0", "such as '1/125'"),
        ("0/4", "such as '1/125'"),
        ("125", "such as '1/125'"),
        ("fast", "such as '1/125'"),
        ("-1 s", "such as '1/125'"),
        ("1/125 m", "such as '1/125'"),
    ],
)
def test_what_is_no_shutter_time(text: str, says: str) -> None:
    with pytest.raises(UnitError, match=says):
        shutter_time(text)


def test_scan_resolution() -> None:
    assert scan_pitch_m("4000 dpi") == pytest.approx(6.35e-6, rel=1e-12)
    assert scan_pitch_m("4000 PPI") == pytest.approx(6.35e-6, rel=1e-12)
    assert scan_pitch_m("6.35 um") == pytest.approx(6.35e-6, rel=1e-12)
    for wrong in ("4000", "0 dpi", "4000 s", "0 um", "-4000 dpi"):
        with pytest.raises(UnitError, match="4000 dpi"):
            scan_pitch_m(wrong)


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("18 milliseconds", "time", 0.018),
        ("18msec", "time", 0.018),
        ("18 MS", "time", 0.018),  # not a million siemens
        ("1,5 s", "time", 1.5),
        ("1/250", "time", 0.004),
        ("1/250s", "time", 0.004),
        ("1/60 of a second", "time", 1 / 60),
        ("500 μs", "time", 500e-6),
        ("35 MM", "length", 0.035),
        ("35 Mm", "length", 0.035),  # not thirty-five thousand kilometres
        ("3,5 cm", "length", 0.035),
        ('6"', "length", 0.1524),
        ("30'", "length", 9.144),
        ("10 metres", "length", 10.0),
        ("30 microns", "length", 30e-6),
        ("15 kmh", "speed", 15 / 3.6),
        ("15 KM/H", "speed", 15 / 3.6),
        ("15 km per hour", "speed", 15 / 3.6),
        ("2 degrees per second", "rotation", math.radians(2)),
    ],
)
def test_as_people_write_them(text: str, kind: Kind, expected: float) -> None:
    assert quantity(text, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("text", ["1,500 mm", "1,500,000 um", "1.5,5 mm", "4 x 5 in", "5 m 20"])
def test_what_means_two_things_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match="a length such as"):
        quantity(text, "length")


@pytest.mark.parametrize(
    ("text", "canonical", "nominal_s"),
    [
        ("1/125th", "1/125", 2.0**-7),
        ("1/125 of a second", "1/125", 2.0**-7),
        ('2"', "2 s", 2.0),
        ('0"5', "0.5 s", 0.5),
        ("0,5 s", "0.5 s", 0.5),
        # What is given in parts of a second was measured, and is no mark that stands for something else.
        ("500 us", "500 us", 500e-6),
        ("8 milliseconds", "8 milliseconds", 0.008),
        ("0.001 s", "0.001 s", 2.0**-10),
    ],
)
def test_shutter_times_as_people_write_them(text: str, canonical: str, nominal_s: float) -> None:
    time = shutter_time(text)
    assert time.text == canonical
    assert time.nominal_s == pytest.approx(nominal_s, rel=1e-12)


def test_scan_resolutions_as_people_write_them() -> None:
    for text in ("4000 dots per inch", "4000 px/in", "4000 pixels per inch", "4000DPI"):
        assert scan_pitch_m(text) == pytest.approx(6.35e-6, rel=1e-12)
    assert scan_pitch_m("1600 px/cm") == pytest.approx(6.25e-6, rel=1e-12)


def test_apertures_as_people_write_them() -> None:
    assert [f_number(text) for text in ("ƒ/8", "f:8", "1:2.8", "f/5,6")] == [8.0, 8.0, 2.8, 5.6]


def test_apertures() -> None:
    assert [f_number(text) for text in ("f/8", "f8", "F/5.6", "f / 11", "f/.95")] == [
        8.0,
        8.0,
        5.6,
        11.0,
        0.95,
    ]
    for wrong in ("8", "f/0", "f/", "1/8", "f/-2"):
        with pytest.raises(UnitError, match="f/8"):
            f_number(wrong)


@given(st.text(max_size=30), st.sampled_from(["time", "length", "speed", "angle", "rotation"]))
def test_any_text_is_read_or_refused_in_a_sentence(text: str, kind: Kind) -> None:
    for read in (lambda: quantity(text, kind), lambda: shutter_time(text), lambda: scan_pitch_m(text)):
        refusal = ""
        try:
            read()
        except BadInput as error:
            refusal = str(error)
        assert refusal == "" or refusal.endswith(".")


def test_the_unit_library_is_loaded_only_when_a_unit_is_read() -> None:
    code = "import coincide.units, sys; coincide.units.f_number('f/8'); sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
