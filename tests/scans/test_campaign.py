"""The whole campaign over many pairs (`make soak`): how often each promise holds, refusals counted against it."""

from __future__ import annotations

import numpy as np
import pytest

from coincide.errors import BadInput
from coincide.scans.files.scan import Scan
from coincide.scans.moved.motion import motion
from coincide.scans.register.lay import register
from tests.scans.pairs import FLIPS, PHOTOGRAPHS, Change, Mover, Pair, error_rms, grey, make_pair

PAIRS = 60
pytestmark = pytest.mark.soak


def scans(pair: Pair) -> tuple[Scan, Scan]:
    return Scan("a", grey(pair.a), 4000.0), Scan("b", grey(pair.b), 4000.0)


def a_change(rng: np.random.Generator, movers: tuple[Mover, ...] = ()) -> Change:
    return Change(
        turn_deg=float(rng.uniform(-5, 5)),
        scale=float(rng.uniform(0.95, 1.05)),
        shift=(float(rng.uniform(-15, 15)), float(rng.uniform(-15, 15))),
        mirrored=bool(rng.integers(2)),
        tones=str(rng.choice(("same", *FLIPS))),
        grain=float(rng.choice((0.0, 0.01, 0.02))),
        blur=float(rng.choice((0.0, 0.7))),
        dust=int(rng.choice((0, 20))),
        movers=movers,
    )


def test_what_stood_still() -> None:
    within = refused = 0
    for seed in range(PAIRS):
        rng = np.random.default_rng([5, seed])
        change = a_change(rng)
        pair = make_pair(PHOTOGRAPHS[seed % len(PHOTOGRAPHS)], change, seed)
        try:
            found = register(*scans(pair))
        except BadInput:
            refused += 1
            continue
        within += error_rms(found.alignment, pair) < (0.2 if change.grain else 0.1)
    print(f"\nstood still: {within} of {PAIRS} within their limit, {refused} refused")
    assert within >= 0.95 * PAIRS


def test_things_that_moved() -> None:
    found = refused = false = 0
    for seed in range(PAIRS):
        rng = np.random.default_rng([6, seed])
        size = int(rng.integers(48, 110))
        far, way = rng.uniform(3, 14), rng.uniform(0, 2 * np.pi)
        by = (float(far * np.cos(way)), float(far * np.sin(way)))
        mover = Mover(
            (float(rng.uniform(130, 220)), float(rng.uniform(110, 150))), (size, size), by, "gravel"
        )
        pair = make_pair(("coffee", "rocket", "cat")[seed % 3], a_change(rng, (mover,)), seed)
        a, b = scans(pair)
        try:
            regions = motion(a, b, register(a, b)).regions
        except BadInput:
            refused += 1
            continue
        right = [one for one in regions if np.hypot(one.by_px[0] - by[0], one.by_px[1] - by[1]) < 0.5]
        found += bool(right)
        false += len(regions) - len(right)
    print(
        f"\nmoved: {found} of {PAIRS} within 0.5 px, {refused} refused, {false} regions that did not move so"
    )
    assert found >= 0.95 * (PAIRS - refused)
    assert refused <= 0.05 * PAIRS


def test_nothing_moved() -> None:
    quiet = refused = 0
    for seed in range(PAIRS):
        rng = np.random.default_rng([7, seed])
        a, b = scans(make_pair(PHOTOGRAPHS[seed % len(PHOTOGRAPHS)], a_change(rng), seed))
        try:
            quiet += not motion(a, b, register(a, b)).regions
        except BadInput:
            refused += 1
    print(f"\nnothing moved: {quiet} of {PAIRS} without a region, {refused} refused")
    assert quiet >= 0.95 * (PAIRS - refused)
