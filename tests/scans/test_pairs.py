"""Pairs of known truth, made from library photographs: what stood still, what moved, and when not to answer.

The limits are the promises: 0.2 px rms for what stood still with grain, 0.1 without; a moving thing of 48 px
and more within 0.5 px; nothing told to move where nothing did. Tones are inverted, or inverted in bands, as
between a colour film and an infrared one.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from coincide.errors import BadInput
from coincide.scans.files.scan import Scan
from coincide.scans.moved.motion import motion
from coincide.scans.register.lay import register
from tests.scans.pairs import Change, Mover, Pair, error_rms, grey, make_pair


def scans(pair: Pair) -> tuple[Scan, Scan]:
    return Scan("a", grey(pair.a), 4000.0), Scan("b", grey(pair.b), 4000.0)


@pytest.mark.parametrize("name", ["coffee", "rocket", "cat"])
@pytest.mark.parametrize(
    ("change", "most_px"),
    [
        (Change(turn_deg=1.3, shift=(7.3, -4.6)), 0.1),
        (Change(turn_deg=-4.5, scale=1.04, shift=(3.0, 9.0), tones="invert"), 0.1),
        (Change(turn_deg=0.7, mirrored=True, tones="bands"), 0.1),
        (Change(turn_deg=2.0, scale=0.97, tones="invert", grain=0.02, blur=0.7), 0.2),
    ],
    ids=["plain", "inverted", "mirrored bands", "grain and blur"],
)
def test_what_stood_still_is_laid_on_itself(name: str, change: Change, most_px: float) -> None:
    pair = make_pair(name, change, seed=1)
    a, b = scans(pair)
    found = register(a, b)
    assert error_rms(found.alignment, pair) < most_px


@pytest.mark.parametrize("tones", ["same", "invert"])
def test_a_thing_that_moved_is_found_where_it_is_and_as_far_as_it_went(tones: str) -> None:
    mover = Mover(at=(260.0, 170.0), size=(72, 64), by=(6.4, -2.2), look="gravel")
    pair = make_pair("coffee", Change(turn_deg=0.8, shift=(4.0, 2.0), tones=tones, movers=(mover,)), seed=2)
    a, b = scans(pair)
    (region,) = motion(a, b, register(a, b)).regions
    assert np.hypot(region.by_px[0] - 6.4, region.by_px[1] + 2.2) < 0.5
    assert np.hypot(region.centre_px[0] - 260.0, region.centre_px[1] - 170.0) < 30.0


@pytest.mark.parametrize("name", ["coffee", "rocket", "cat"])
def test_nothing_moved(name: str) -> None:
    pair = make_pair(name, Change(turn_deg=-1.1, shift=(5.0, 5.0), tones="invert", grain=0.01), seed=3)
    a, b = scans(pair)
    assert motion(a, b, register(a, b)).regions == ()


def test_two_pictures_of_different_things_are_refused() -> None:
    one, other = make_pair("coffee", Change(), 4), make_pair("rocket", Change(), 4)
    with pytest.raises(BadInput):
        register(Scan("a", grey(one.a)), Scan("b", grey(other.b)))


@pytest.mark.parametrize("make", [np.zeros, np.ones], ids=["black", "white"])
def test_a_scan_without_features_is_refused(make: object) -> None:
    blank = np.full((300, 400), 0.0 if make is np.zeros else 1.0, np.float32)
    with pytest.raises(BadInput):
        register(Scan("a", blank), Scan("b", blank))


@pytest.mark.parametrize("name", ["rocket", "cat", "coffee"])
def test_two_fifths_of_the_frame_moved_and_no_wrong_answer_is_given(name: str) -> None:
    """What stood still wins over what moved together, or the pair is refused: never a confident wrong answer."""
    height, width = (int(side * 0.86) for side in make_pair(name, Change(), 6, crop=1.0).a.shape[:2])
    size = (int(width * 0.62), int(height * 0.62))
    mover = Mover((width * 0.5, height * 0.5), size, (8.0, 3.0), "grass")
    pair = make_pair(name, Change(turn_deg=0.5, shift=(2.0, 1.0), movers=(mover,)), seed=6)
    a, b = scans(pair)
    try:
        found = register(a, b)
    except BadInput:
        return
    assert error_rms(found.alignment, pair) < 0.5


def test_a_distortion_is_followed_where_the_data_support_it() -> None:
    pair = make_pair("coffee", Change(), seed=7)
    a, _ = scans(pair)
    height, width = a.grey.shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float64)
    x0, y0 = (width - 1) / 2, (height - 1) / 2
    r2 = ((x - x0) ** 2 + (y - y0) ** 2) / (width / 2) ** 2
    # A barrel: 3 pixels in the corners, as two lenses that differ would show.
    bend = 0.012
    bent = ndimage.map_coordinates(
        a.grey, [y0 + (y - y0) * (1 + bend * r2), x0 + (x - x0) * (1 + bend * r2)], order=3
    )
    found = register(a, Scan("b", bent.astype(np.float32), 4000.0))
    plain = register(a, Scan("b", bent.astype(np.float32), 4000.0), richest="similarity")
    assert found.alignment.kind != "similarity"
    assert found.static_rms_px < 0.6 * plain.static_rms_px
