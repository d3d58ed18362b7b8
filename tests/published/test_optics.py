"""Optics against sources outside the project; each row names its own."""

from __future__ import annotations

import math

import pytest

from coincide.planning.displacement import across_m, nearest_distance_m, skew_allowed_s
from coincide.planning.exposure.pairing import blur_each_end_s
from coincide.rig.optics.thin_lens import (
    circle_of_confusion_m,
    depth_of_field_m,
    from_focusing_scale_m,
    hyperfocal_m,
    image_distance_m,
    magnification,
)
from coincide.units import scan_pitch_m, shutter_time


def test_circle_of_confusion_of_24_by_36() -> None:
    """Common practice, no source: the customary 0.03 mm, from diagonal/1442."""
    assert math.hypot(0.024, 0.036) == pytest.approx(0.04327, abs=5e-6)
    assert circle_of_confusion_m(math.hypot(0.024, 0.036)) == pytest.approx(0.03e-3, abs=5e-8)


def test_thin_lens_magnification() -> None:
    """Thin-lens equation, any optics text: f 50 mm, D 5.05 m."""
    assert magnification(0.05, 5.05) == pytest.approx(0.01, rel=1e-12)
    assert image_distance_m(0.05, 5.05) == pytest.approx(0.0505, rel=1e-12)


def test_the_focusing_scale_counts_from_the_film() -> None:
    """Thin-lens equation: at unit magnification subject and film are 4 f apart, 2 f on each side."""
    assert from_focusing_scale_m(0.2, 0.05) == pytest.approx(0.1)
    distance_m = from_focusing_scale_m(1.0, 0.05)
    assert 1 / distance_m + 1 / (1.0 - distance_m) == pytest.approx(1 / 0.05)


def test_motion_on_film_worked_by_hand() -> None:
    """Thin-lens equation, worked by hand: 35 mm lens, 10 m, 5 m/s across, 2 ms -> 35.12 um."""
    assert across_m(image_distance_m(0.035, 10.0), 10.0, 5.0, 0.002) == pytest.approx(35.12e-6, abs=5e-9)


def test_unequal_exposures_worked_by_hand() -> None:
    """Arithmetic: 1/500 and 1/30 centred on each other; 14.6 ms in the true series, 15.7 ms as marked."""
    short, long = shutter_time("1/500"), shutter_time("1/30")
    assert blur_each_end_s(short.nominal_s, long.nominal_s) == pytest.approx(0.01465, abs=5e-5)
    assert blur_each_end_s(short.marked_s, long.marked_s) == pytest.approx(0.01567, abs=5e-5)


def test_scan_pitch() -> None:
    """Definition of the inch, 25.4 mm exactly: 4000 dpi -> 6.35 um."""
    assert scan_pitch_m("4000 dpi") == pytest.approx(6.35e-6, rel=1e-12)
    assert circle_of_confusion_m(0.04327) / scan_pitch_m("4000 dpi") == pytest.approx(4.73, abs=0.01)


def test_hyperfocal_distance() -> None:
    """Photographic handbooks, from memory: 50 mm at f/8 and 0.03 mm, about 10.4 m; focused there, sharp from half."""
    hyperfocal = hyperfocal_m(0.05, 8.0, 0.03e-3)
    assert hyperfocal == pytest.approx(10.4, abs=0.1)
    near, far = depth_of_field_m(0.05, 8.0, 0.03e-3, hyperfocal)
    assert near == pytest.approx(hyperfocal / 2, rel=1e-9)
    assert far == math.inf


def test_image_motion_of_an_aerial_survey() -> None:
    """Texts on aerial survey, from memory: image motion is V t f / H. At 200 km/h, scale 1:10 000, 1/500 s taken
    at its word: 0.111 m on the ground, 11.1 um on film."""
    f_m = 0.15
    height_m = f_m * 10_000
    assert across_m(f_m, height_m, 200 / 3.6, 1 / 500) == pytest.approx(11.1e-6, abs=0.05e-6)


# From handbooks of photography, memory: the slowest shutter setting that stops a subject crossing the view, as a
# chain of whole settings. Twice the speed, half the distance or twice the focal length: one setting faster.
MOTION_STOPPING = [
    # speed, distance, focal length, settings faster than the row above the line
    (1.0, 1.0, 1.0, 0),
    (2.0, 1.0, 1.0, 1),
    (1.0, 0.5, 1.0, 1),
    (1.0, 1.0, 2.0, 1),
    (4.0, 2.0, 1.0, 1),
    (2.0, 0.5, 2.0, 3),
    (1.0, 4.0, 1.0, -2),
]


@pytest.mark.parametrize(("speed", "distance", "lens", "settings"), MOTION_STOPPING)
def test_the_settings_of_motion_stopping_tables(
    speed: float, distance: float, lens: float, settings: int
) -> None:
    """Handbooks of photography (memory): tables of settings that stop motion rise and fall by whole settings."""

    def stopping_s(speed: float, distance: float, lens: float) -> float:
        distance_m = 15.0 * distance
        return skew_allowed_s(image_distance_m(0.05 * lens, distance_m), distance_m, 2.0 * speed, 0.05e-3)

    apart = math.log2(stopping_s(1, 1, 1) / stopping_s(speed, distance, lens))
    # Tables are for distant subjects, where m = f / D; the thin lens differs by its 1 + m.
    assert apart == pytest.approx(settings, abs=0.02)


def test_a_walker_in_a_motion_stopping_table() -> None:
    """Handbooks of photography (memory): a walker crossing at 25 ft, 50 mm lens, is stopped between 1/125 and 1/250:
    3 mph and a twentieth of a millimetre on film."""
    distance_m, speed_m_s = 25 * 0.3048, 3 * 0.44704
    longest_s = skew_allowed_s(image_distance_m(0.05, distance_m), distance_m, speed_m_s, 0.05e-3)
    assert shutter_time("1/250").nominal_s < longest_s < shutter_time("1/125").nominal_s
    assert nearest_distance_m(0.05, speed_m_s, 0.05e-3, longest_s) == pytest.approx(distance_m)
