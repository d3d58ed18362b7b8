"""The glass against sources outside the project; each test names its own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coincide.planning.glass.light import bare_face, film_that_reflects, polarised_pair, quarter_wave_film
from coincide.planning.glass.plate import ghost_shift_m, glass_of, sideways_m
from coincide.planning.infrared.focus import airy_m
from coincide.rig.optics.geometry import SCENE
from coincide.rig.plate import Plate


@pytest.mark.parametrize("index", [1.33, 1.5, 1.52, 1.8])
def test_plate_displacement(index: float) -> None:
    """Hecht, Optics, ch. 4, and Smith, Modern Optical Engineering, ch. 4 (memory): d = t sin(a - b) / cos b, with b by
    Snell's law."""
    inside = math.asin(math.sin(math.pi / 4) / index)
    glass = glass_of(Plate.model_validate({"thickness": "3 mm", "index": index}), "up at the glass")
    assert sideways_m(glass) == pytest.approx(0.003 * math.sin(math.pi / 4 - inside) / math.cos(inside))


def test_two_faces_of_a_plate() -> None:
    """Texts on lateral shearing plates (memory): the two reflections lie 2 t tan b cos a, that is
    t sin 2a / sqrt(n^2 - sin^2 a), apart."""
    glass = glass_of(Plate.model_validate({"thickness": "3 mm"}), "up at the glass")
    inside = math.asin(math.sin(math.pi / 4) / 1.52)
    apart = 2 * 0.003 * math.tan(inside) * math.cos(math.pi / 4)
    assert float(ghost_shift_m(glass, SCENE)) * math.sin(math.pi / 4) == pytest.approx(apart)


def test_fresnel() -> None:
    """Hecht, Optics, ch. 4.6 (memory): glass of 1.5 reflects 4 % straight on, at 45 degrees 9.2 % and 0.85 %; nothing
    of p at Brewster's angle, 56.3 degrees."""
    straight = bare_face(1.5, 1e-6)
    assert (straight.s, straight.p) == pytest.approx((0.04, 0.04), abs=1e-6)
    slanted = bare_face(1.5, math.pi / 4)
    assert (slanted.s, slanted.p) == pytest.approx((0.0920, 0.0085), abs=5e-5)
    assert slanted.p == pytest.approx(slanted.s**2)  # at 45 degrees, for every index
    assert bare_face(1.5, math.atan(1.5)).p == pytest.approx(0.0, abs=1e-15)


def test_a_quarter_wave_film() -> None:
    """Macleod, Thin-Film Optical Filters, ch. 3 (memory): R = ((n0 ns - nf^2) / (n0 ns + nf^2))^2 straight on; a film
    of 2.35 on 1.52 reflects about 32 %."""
    found = quarter_wave_film(2.35, 1.52, 1e-6)
    assert found.mean == pytest.approx(((1.52 - 2.35**2) / (1.52 + 2.35**2)) ** 2, rel=1e-6)
    assert found.mean == pytest.approx(0.32, abs=0.005)


def test_a_film_by_summing_its_reflections() -> None:
    """Judge: the reflections inside the film summed one by one (Airy), with Fresnel's amplitudes of each face."""
    film, glass, angle = 2.27, 1.52, math.pi / 4
    cosines = [math.sqrt(1 - (math.sin(angle) / n) ** 2) for n in (1.0, film, glass)]
    indices = (1.0, film, glass)
    for along in (True, False):

        def amplitude(k: int, along: bool = along) -> float:
            n1, n2, c1, c2 = indices[k], indices[k + 1], cosines[k], cosines[k + 1]
            first, second = (n1 * c1, n2 * c2) if along else (n2 * c1, n1 * c2)
            return (first - second) / (first + second)

        outer, inner = amplitude(0), amplitude(1)
        total = outer + sum(
            (1 - outer**2) * inner * np.exp(1j * np.pi) * (-outer * inner * np.exp(1j * np.pi)) ** k
            for k in range(60)
        )
        found = quarter_wave_film(film, glass, angle)
        assert abs(total) ** 2 == pytest.approx(found.s if along else found.p, rel=1e-9)


def test_how_far_polarised_light_parts_the_bodies() -> None:
    """The figure asked for, up to about 0.9 stop, for glass that reflects 30 % and sky polarised to 80 %; light that is
    not polarised parts nothing."""
    found = film_that_reflects(0.3, 1.52, math.pi / 4)
    assert found is not None
    assert found[1].mean == pytest.approx(0.3)
    assert polarised_pair(found[1], 0.8).worst_stops == pytest.approx(0.9, abs=0.1)
    assert polarised_pair(found[1], 0.0).worst_stops == pytest.approx(0.0, abs=1e-12)
    assert film_that_reflects(0.01, 1.52, math.pi / 4) is None


def test_diffraction() -> None:
    """Hecht, Optics, ch. 10.2 (memory): 2.44 lambda N; 10.7 um at f/8 in green light."""
    assert airy_m(550e-9, 8.0) == pytest.approx(10.7e-6, abs=0.05e-6)
    assert airy_m(800e-9, 8.0) == pytest.approx(15.6e-6, abs=0.05e-6)
