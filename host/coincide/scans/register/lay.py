"""Lay scan B on scan A by what stood still.

Thumbnails decide mirror, turn and scale; tiles then refine the map level by level, to the full resolution.
The measure is edge orientation (`orientation`), so tones may differ as they like. Where the tiles do not
agree on one map, the answer is a refusal, not a guess.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput
from coincide.scans.files.scan import Scan
from coincide.scans.register.alignment import Alignment, Fit, Floats, Similarity
from coincide.scans.register.choice import fit_best
from coincide.scans.register.first_guess import JUDGE_PX, LEAST_SHARE, LEAST_VOTES, first_guess
from coincide.scans.register.repeats import rival_shift
from coincide.scans.register.still import stood_still
from coincide.scans.register.tiles import Matches, match_at
from coincide.scans.register.trust import Trust, trust_in

TILES = 320
LEAST_TILES = 16  # with texture: fewer cannot outvote what moved
LEAST_FIRM = 0.25  # of what is recognised; chance and symmetrical scenes reach 0.1 to 0.18
_FIRM_PX = 1.0  # of the finest level
_GATE_PX = 2.5  # of the level: what the level before leaves
_REACH_PX = 6
_COARSER = (1, 2, 4)
_MOST_RIVAL = 0.9  # waves reach 0.99; a brick wall under much grain, which is held by its bricks, 0.76

Advance = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Registration:
    """How B lies on A.

    alignment: pixels of A to pixels of B. at_centre: the same as shift, turn, scale, mirror at A's centre.
    static_rms_px: rms over tiles that stood still, pixels of A, both axes together: how well they agree, not how
    right the map is elsewhere, which `trust` says place by place. tiles_px (n, 2), off_px (n, 2), still (n,): every
    matched tile, how far it lies from the map, and whether it counts as still. asked: tiles with texture.
    share: the part of the frame recognised that lies within a pixel of the map.
    criterion: by how much each kind of map missed places held out of its fit, rms, pixels of A.
    """

    alignment: Alignment
    at_centre: Similarity
    frame_a_px: tuple[int, int]
    frame_b_px: tuple[int, int]
    static_rms_px: float
    trust: Trust
    tiles_px: Floats
    off_px: Floats
    still: npt.NDArray[np.bool_]
    asked: int
    share: float
    criterion: dict[str, float]
    factor: int

    @property
    def uncertainty_px(self) -> float:
        """Standard uncertainty of each component of the map, rms over the tiles that stood still."""
        return float(np.sqrt((self.trust.u_px(self.tiles_px[self.still]) ** 2).mean()))


def register(
    a: Scan, b: Scan, advance: Advance = lambda _: None, richest: str = "smooth", plainest: str = "similarity"
) -> Registration:
    """Register `b` on `a`. Raises BadInput ('cannot tell') where no single map is supported.

    `richest`, `plainest`: 'similarity', 'homography' or 'smooth', the richest and the plainest map that may be chosen.
    """
    rng = np.random.default_rng(20_06)
    advance("finding mirror, turn and scale")
    alignment = first_guess(a, b, rng)

    advance("refining on what stood still")
    refused: BadInput | None = None
    for coarser in _COARSER:
        try:
            return _refined(a, b, alignment, coarser, richest, plainest, rng)
        except BadInput as error:
            refused = refused or error
    assert refused is not None
    raise refused


def _refined(
    a: Scan,
    b: Scan,
    alignment: Alignment,
    coarser: int,
    richest: str,
    plainest: str,
    rng: np.random.Generator,
) -> Registration:
    """Level by level to the full resolution of the coarser scan, or to that reduced `coarser` times: where grain or
    softness hides the finest detail, larger things still agree, and the uncertainty grows with the level."""
    levels = [level for level in _levels(a.grey.shape, alignment)[:-1] if level > coarser]
    levels.append(max(1, round(1 / alignment.gauge)) * coarser)
    frame = (a.grey.shape[1], a.grey.shape[0])
    for step, factor in enumerate([*levels, levels[-1]], 1):
        count = TILES if step >= len(levels) else TILES // 2
        matches = match_at(a.grey, b.grey, alignment, factor, _REACH_PX, count)
        held = _agreeing(matches, _GATE_PX * factor, frame, rng)
        _refuse_few(int(held.sum()), matches, a, b)
        kept = _only(matches, held)
        fit, cost = fit_best(kept.a_px, kept.b_px, kept.doubt, alignment, frame, richest, plainest)
        alignment = fit.alignment
    return _result(a, b, fit, matches, cost, levels[-1])


def _agreeing(
    matches: Matches, gate_px: float, frame_px: tuple[int, int], rng: np.random.Generator
) -> npt.NDArray[np.bool_]:
    """Matches within `gate_px` (pixels of A) of what stood still, by the map so far and a similarity on top."""
    nothing = np.zeros(len(matches.a_px), np.bool_)
    if len(matches.a_px) < LEAST_VOTES:
        return nothing
    there = matches.a_px + matches.off_px
    reading = stood_still(matches, there, False, gate_px / 2, frame_px, rng)
    if reading is None:
        return nothing
    off = np.linalg.norm(there - reading.alignment.to_b(matches.a_px), axis=1)
    return np.asarray(off < gate_px, np.bool_)


def _only(matches: Matches, which: npt.NDArray[np.bool_]) -> Matches:
    return Matches(
        matches.a_px[which],
        matches.b_px[which],
        matches.off_px[which],
        matches.doubt[which],
        matches.area[which],
        matches.asked,
        matches.shown,
    )


def _levels(shape: tuple[int, ...], alignment: Alignment) -> list[int]:
    """Reduction factors of A from coarse to fine; the last is full resolution of the coarser scan."""
    finest = max(1, round(1 / alignment.gauge))
    factors = []
    factor = max(1, max(shape) // JUDGE_PX)
    while factor > finest:
        factors.append(factor)
        factor = factor // 2 if factor > 3 else 1
    return [*factors, finest]


def _refuse_few(agreeing: int, matches: Matches, a: Scan, b: Scan) -> None:
    if matches.asked < LEAST_TILES:
        raise BadInput(
            f"{a.name} and {b.name}: cannot tell: too little of the overlap has any texture "
            f"({matches.asked} places, {LEAST_TILES} needed)."
        )
    if agreeing < max(LEAST_VOTES, LEAST_SHARE * len(matches.a_px)):
        raise BadInput(
            f"{a.name} and {b.name}: cannot tell what stood still: only {agreeing} of {matches.asked} textured places "
            "agree on how the scans fit together. Check focus, grain, and that both show the same moment."
        )


def _result(
    a: Scan, b: Scan, fit: Fit, matches: Matches, cost: dict[str, float], factor: int
) -> Registration:
    gauge = fit.alignment.gauge
    off = (matches.b_px - fit.alignment.to_b(matches.a_px)) / gauge
    still = np.linalg.norm(off, axis=1) / matches.doubt < 3.0 * fit.deviation_px
    _refuse_few(int(still.sum()), matches, a, b)
    near = np.linalg.norm(off, axis=1) < _FIRM_PX * factor
    firm = float(matches.area[near].sum() / matches.area.sum())
    if firm < LEAST_FIRM:
        raise BadInput(
            f"{a.name} and {b.name}: cannot tell: the best fit holds for {firm:.0%} of what is "
            f"recognised, and {LEAST_FIRM:.0%} is needed to trust it. Check that both show the same moment, in focus."
        )
    if rival_shift(a, b, fit.alignment, matches.a_px[still]) > _MOST_RIVAL:
        raise BadInput(
            f"{a.name} and {b.name}: cannot tell what stood still: a little further on, the scans fit as well. It is a "
            "pattern that repeats, as waves do, and nothing in it holds the place. Give a pair with the shore in it."
        )
    frame_a = (a.grey.shape[1], a.grey.shape[0])
    middle = np.array([(frame_a[0] - 1) / 2, (frame_a[1] - 1) / 2])
    weight = 1.0 / matches.doubt[still] ** 2
    rms = math.sqrt(float((weight @ (off[still] ** 2).sum(axis=1)) / weight.sum()))
    trust = trust_in(matches.a_px[still], off[still], matches.doubt[still], frame_a, factor)
    return Registration(
        alignment=fit.alignment,
        at_centre=fit.alignment.at(middle),
        frame_a_px=frame_a,
        frame_b_px=(b.grey.shape[1], b.grey.shape[0]),
        static_rms_px=rms,
        trust=trust,
        tiles_px=matches.a_px,
        off_px=off,
        still=still,
        asked=matches.asked,
        share=firm,
        criterion=cost,
        factor=factor,
    )
