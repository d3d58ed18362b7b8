"""How scan B lies on scan A, found from nothing: guesses at thumbnail size, each judged tile by tile.

The reading that the largest part of the frame holds to wins. Where a second one, mirrored, turned or shifted
otherwise, is held by nearly as much, the question is left open and said to be.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from coincide.errors import BadInput
from coincide.scans.files.scan import Scan
from coincide.scans.register.alignment import Alignment
from coincide.scans.register.coarse import SKETCH_PX, THUMB_PX, Finder, Guess, block_mean
from coincide.scans.register.orientation import Reals
from coincide.scans.register.still import stood_still
from coincide.scans.register.tiles import match_at

JUDGE_PX = 900
LEAST_VOTES = 12
# Share of the tiles found that must agree. Grain makes tiles wrong without making them agree on anything
# else; in unrelated scans the best of all maps is held by some 6 %.
LEAST_SHARE = 0.18
RIVAL_SHARE = 0.8  # a second reading with this part of the winner's weight leaves the question open
_TILES = 160
_MAX_RATIO = 8.0
_WITHIN_PX = 2.0


@dataclass(frozen=True, slots=True)
class _Judged:
    """A reading, its weight and its rival's among the same matches, and the level at which it was judged."""

    weight: float
    rival: float
    guess: Guess
    alignment: Alignment
    factor: int


def first_guess(a: Scan, b: Scan, rng: np.random.Generator) -> Alignment:
    """A similarity right to a few pixels at the judging level. Raises BadInput where none can be told."""
    thumb_a, thumb_b = _thumb(a.grey), _thumb(b.grey)
    _refuse_blank(thumb_a[0], a)
    _refuse_blank(thumb_b[0], b)
    sketch_a, sketch_b = _reduced_to(thumb_a, SKETCH_PX), _reduced_to(thumb_b, SKETCH_PX)
    rough, fine = Finder(sketch_a[0], sketch_b[0]), Finder(thumb_a[0], thumb_b[0])
    likely = _likely_ratios(a, b)
    wide = [r for r in 1.17 ** np.arange(-6, 7) if all(abs(math.log(r / k)) > 0.08 for k in likely)]
    # In order of likelihood; the first stage with a reading that the tiles confirm decides.
    stages = (
        (rough, likely, (0, 2)),
        (fine, likely, (0, 2)),
        (rough, likely, (1, 3)),
        (rough, wide, (0, 1, 2, 3)),
    )
    for finder, ratios, quarters in stages:
        at_a, at_b = (sketch_a[1], sketch_b[1]) if finder is rough else (thumb_a[1], thumb_b[1])
        found = finder.search([ratio * at_a / at_b for ratio in ratios], quarters, best=3)
        polished = [
            one for guess in found for one in fine.polish(guess, at_a / thumb_a[1], at_b / thumb_b[1])
        ]
        polished.sort(key=lambda guess: -guess.score)
        confirmed = _confirmed(a, b, _worth_judging(polished, fine), thumb_a[1], thumb_b[1], rng)
        if confirmed is not None:
            return confirmed
    raise BadInput(
        f"{a.name} and {b.name}: cannot tell how they fit together. Too little agrees between them: check that "
        "they show the same scene at the same moment, are turned by less than 5 degrees, and overlap by half."
    )


def _thumb(grey: Reals) -> tuple[Reals, int]:
    factor = max(1, math.ceil(max(grey.shape) / THUMB_PX))
    return block_mean(grey, factor), factor


def _refuse_blank(thumb: Reals, scan: Scan) -> None:
    if float(np.ptp(thumb)) < 0.01 or float(thumb.std()) < 0.002:
        raise BadInput(f"{scan.name}: holds nothing to register on: it is one even tone. Check the scan.")


def _reduced_to(thumb: tuple[Reals, int], side_px: int) -> tuple[Reals, int]:
    factor = max(1, round(max(thumb[0].shape) / side_px))
    return block_mean(thumb[0], factor), factor * thumb[1]


def _likely_ratios(a: Scan, b: Scan) -> list[float]:
    """Pixels of B to one of A: from the files' resolutions, from their sizes, and as they are."""
    ratios = [max(b.grey.shape) / max(a.grey.shape), 1.0]
    if a.dpi is not None and b.dpi is not None:
        ratios.insert(0, b.dpi / a.dpi)
    kept: list[float] = []
    for ratio in ratios:
        if all(abs(math.log(ratio / other)) > 0.03 for other in kept):
            kept.append(ratio)
    if not 1 / _MAX_RATIO < kept[0] < _MAX_RATIO:
        raise BadInput(
            f"{a.name} and {b.name}: one has {max(kept[0], 1 / kept[0]):.0f} times the resolution of the other; "
            "scan both alike."
        )
    return kept


def _worth_judging(found: list[Guess], finder: Finder) -> list[Guess]:
    """Two of every way of holding B, and four of the best way, that differ in their shift."""
    kept: list[Guess] = []
    for guess in found:
        alike = [k for k in kept if (k.mirrored, k.quarter) == (guess.mirrored, guess.quarter)]
        most = 4 if not kept or (kept[0].mirrored, kept[0].quarter) == (guess.mirrored, guess.quarter) else 2
        if len(alike) < most and not any(finder.alike(k, guess) for k in alike):
            kept.append(guess)
    return kept


def _confirmed(
    a: Scan, b: Scan, found: list[Guess], factor_a: int, factor_b: int, rng: np.random.Generator
) -> Alignment | None:
    """The reading of the greatest weight, if enough holds to it; BadInput if a rival holds as much."""
    judged = [one for guess in found if (one := _judge(a, b, guess, factor_a, factor_b, rng)) is not None]
    if not judged:
        return None
    best = max(judged, key=lambda one: one.weight)
    if best.rival > RIVAL_SHARE:
        raise BadInput(
            f"{a.name} and {b.name}: cannot tell what stood still: two readings fit about as much of the frame each."
        )
    middle = np.array([a.grey.shape[1] / 2, a.grey.shape[0] / 2])
    for other in judged:
        if other is best or other.weight < RIVAL_SHARE * best.weight:
            continue
        if (other.guess.mirrored, other.guess.quarter) != (best.guess.mirrored, best.guess.quarter):
            raise BadInput(
                f"{a.name} and {b.name}: cannot tell whether they are mirrored or turned: both readings fit. "
                "Give a pair with something unsymmetrical in it."
            )
        apart = np.linalg.norm(other.alignment.to_b(middle) - best.alignment.to_b(middle))
        if apart > 3 * _WITHIN_PX * best.factor * best.alignment.gauge:
            raise BadInput(
                f"{a.name} and {b.name}: cannot tell what stood still: two shifts, {apart:.0f} pixels apart, each "
                "fit about as much of the frame. Either half of it moved, or it is a pattern that repeats."
            )
    return best.alignment


def _judge(
    a: Scan, b: Scan, guess: Guess, factor_a: int, factor_b: int, rng: np.random.Generator
) -> _Judged | None:
    full = guess.alignment.reduced(1 / factor_a, 1 / factor_b)
    if not 1 / (_MAX_RATIO * 1.2) < full.gauge < _MAX_RATIO * 1.2:
        return None
    factor = max(1, math.ceil(max(a.grey.shape) / JUDGE_PX), math.ceil(1 / full.gauge))
    reach = math.ceil(2.5 * factor_a / factor) + 5
    matches = match_at(a.grey, b.grey, full, factor, reach, _TILES)
    if len(matches.a_px) < LEAST_VOTES:
        return None
    within = _WITHIN_PX * factor * full.gauge
    frame = (a.grey.shape[1], a.grey.shape[0])
    reading = stood_still(matches, matches.b_px, guess.mirrored, within, frame, rng)
    if reading is None or reading.holds.sum() < max(LEAST_VOTES, LEAST_SHARE * len(reading.holds)):
        return None
    return _Judged(reading.weight, reading.rival, guess, reading.alignment, factor)
