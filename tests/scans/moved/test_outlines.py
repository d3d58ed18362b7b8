"""Birds, boats and posts before plain ground: found, as far as they went, and nothing told to move that stood still."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from coincide.errors import BadInput
from coincide.ghost.held import Laid
from coincide.ghost.scan_result import Region as Read
from coincide.ghost.things import thing_in_region
from coincide.scans.files.scan import Scan
from coincide.scans.moved.fields import fields
from coincide.scans.moved.motion import motion
from coincide.scans.moved.outlines import outlines
from coincide.scans.moved.region import Region
from coincide.scans.register.alignment import Alignment
from coincide.scans.register.lay import register
from coincide.scans.register.trust import Trust
from tests.rig.rigs import rig_with
from tests.scans.plain_things import PlainPair, plain_pair

COVER = 1.96


def seen(pair: PlainPair) -> tuple[list[Region], list[Region]]:
    """What was found of the thing within a pixel, and what else was said to move."""
    a, b = Scan("a", pair.a), Scan("b", pair.b)
    regions = motion(a, b, register(a, b)).regions
    right = [one for one in regions if np.hypot(one.by_px[0] - pair.by[0], one.by_px[1] - pair.by[1]) < 1.0]
    return right, [one for one in regions if one not in right]


@pytest.mark.parametrize("seed", [0, 5, 10], ids=["bird", "post", "boat"])
def test_a_plain_thing_is_found(seed: int) -> None:
    """Three that texture in cells of 48 pixels does not find."""
    pair = plain_pair(seed)
    (one,), others = seen(pair)
    assert others == []
    assert (np.abs(np.array(one.by_px) - pair.by) < 2.6 * np.array(one.u_px)).all()


@pytest.mark.soak
def test_a_campaign() -> None:
    found = false = 0
    within = []
    for seed in range(42):
        pair = plain_pair(seed)
        right, others = seen(pair)
        found += bool(right)
        false += len(others)
        within += [np.abs(np.array(one.by_px) - pair.by) < COVER * np.array(one.u_px) for one in right]
    still = sum(len(seen(plain_pair(seed, moved=False))[1]) for seed in range(42, 84))
    held = float(np.mean(within))
    print(f"\nplain things: {found} of 42, {false} other; {still} where nothing moved; 95 % held {held:.3f}")
    assert found >= 39
    assert false <= 2
    assert still <= 1
    assert held > 0.93


def edge(moved_px: float) -> tuple[np.ndarray, np.ndarray]:
    """A roof's edge across the whole picture, slanting, between two plain tones."""
    y, x = np.mgrid[:240, :320].astype(float)
    rng = np.random.default_rng(3)

    def drawn(by: float) -> np.ndarray:
        away = (x - 150) * 0.8 + (y - 120) * 0.6 - by
        roof = 0.3 + 0.3 / (1 + np.exp(-away / 0.8))
        return np.asarray(roof + 0.004 * rng.standard_normal(y.shape), np.float32)

    return drawn(0.0), drawn(moved_px)


SURE = Trust(np.eye(10) * 1e-4, (160.0, 120.0), 160.0)


def test_of_a_straight_edge_only_the_way_across_it_is_told() -> None:
    a, b = edge(9.0)
    (one,) = outlines(fields(a, b, Alignment("similarity", np.eye(3)), 1), SURE).regions
    assert one.across is not None
    assert abs(one.across[0] * 0.8 + one.across[1] * 0.6) > 0.99
    assert np.hypot(*one.by_px) == pytest.approx(9.0, abs=0.3)
    assert one.by_px[0] * 0.8 + one.by_px[1] * 0.6 == pytest.approx(9.0, abs=0.3)


def test_an_edge_that_stood_still_or_is_missing_in_b_did_not_move() -> None:
    still = edge(0.0)
    gone = still[0], ndimage.gaussian_filter(still[1], 40)
    for a, b in (still, gone):
        assert outlines(fields(a, b, Alignment("similarity", np.eye(3)), 1), SURE).regions == ()


def test_ghost_asks_which_way_a_straight_edge_went_and_reckons_its_whole_way() -> None:
    rig = rig_with()
    region = Read(1, (600.0, 400.0), (9.0, 0.0), (0.2, 0.2), 6.0, (1200, 800), Laid(False, 0.0), (1.0, 0.0))
    with pytest.raises(BadInput, match="straight edge"):
        thing_in_region(rig, {1: region}, "1", "15 km/h", "15 m")
    with pytest.raises(BadInput, match="straight edge"):
        thing_in_region(rig, {1: region}, "1", "15 km/h down", "15 m")
    slanting = thing_in_region(rig, {1: region}, "1", "15 km/h down-right", "15 m")
    assert slanting.apart_m == pytest.approx(9.0 * np.sqrt(2) * 6e-6)
    assert slanting.u_m == pytest.approx(0.2 * np.sqrt(2) * 6e-6)
