"""Pairs of known truth, made from library photographs: what stood still, what moved, and when not to answer.

The limits are the promises: 0.2 px rms for what stood still with grain, 0.1 without; a moving thing of 48 px
and more within 0.5 px; nothing told to move where nothing did. Tones are inverted, or inverted in bands, as
between a colour film and an infrared one.
"""

from __future__ import annotations

import numpy as np
import pytest

from coincide.errors import BadInput
from coincide.ghost.motion import motion
from coincide.ghost.register import register
from coincide.ghost.scan_file import Scan
from tests.ghost.pairs import Change, Mover, Pair, error_rms, grey, make_pair


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
