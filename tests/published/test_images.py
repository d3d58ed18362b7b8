"""Images: photographs and reference methods from general-purpose packages (scikit-image, SciPy)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from skimage import data
from skimage.registration import phase_cross_correlation

from coincide.scans.files.scan import Scan
from coincide.scans.moved.motion import motion
from coincide.scans.register.lay import register
from tests.scans.pairs import grey, photograph


def camera() -> np.ndarray:
    return np.asarray(data.camera(), np.float64) / 255.0


@pytest.mark.parametrize("shift", [(3.4, -2.6), (-7.25, 0.5), (0.3, 0.7)])
def test_global_shift_agrees_with_phase_correlation(shift: tuple[float, float]) -> None:
    """Source: skimage.data.camera moved by scipy.ndimage.fourier_shift; skimage.registration as the reference."""
    a = camera()
    b = np.fft.ifft2(ndimage.fourier_shift(np.fft.fft2(a), shift)).real
    reference = phase_cross_correlation(b, a, upsample_factor=100)[0]
    found = register(Scan("a", a.astype(np.float32)), Scan("b", b.astype(np.float32)))
    middle = np.array([[255.5, 255.5]])
    right, down = (found.alignment.to_b(middle) - middle)[0]
    assert abs(down - reference[0]) < 0.1
    assert abs(right - reference[1]) < 0.1
    assert abs(down - shift[0]) < 0.1
    assert abs(right - shift[1]) < 0.1


def test_the_answer_does_not_move_with_the_tones() -> None:
    """Source: skimage.data.coffee; in B a hue range inverted, tones remapped, grain, as on infrared film."""
    colour = photograph("coffee")
    other = colour.copy()
    warm = colour[..., 0] > colour[..., 2] + 0.15
    other[warm] = 1.0 - other[warm]
    other = np.clip(other**0.7 + 0.02 * np.random.default_rng(1).standard_normal(other.shape), 0, 1)
    found = register(Scan("a", grey(colour)), Scan("b", grey(other)))
    height, width = colour.shape[:2]
    corners = np.array([[0, 0], [width - 1, 0], [0, height - 1], [width - 1, height - 1]], np.float64)
    assert np.abs(found.alignment.to_b(corners) - corners).max() < 0.3


def test_local_motion_of_a_piece_cut_out() -> None:
    """Source: a piece of skimage.data.camera moved by whole pixels on its own still background."""
    a = camera()
    b = a.copy()
    b[100:190, 207:297] = a[100:190, 200:290]
    a32, b32 = a.astype(np.float32), b.astype(np.float32)
    found = motion(Scan("a", a32), Scan("b", b32), register(Scan("a", a32), Scan("b", b32)))
    assert any(np.hypot(region.by_px[0] - 7.0, region.by_px[1]) < 0.5 for region in found.regions)
