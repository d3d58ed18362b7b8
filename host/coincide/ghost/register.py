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
from coincide.ghost.alignment import PARAMETERS, Alignment, Fit, Floats, Similarity, consensus, fit_best
from coincide.ghost.coarse import SKETCH_PX, THUMB_PX, Finder, Guess, block_mean
from coincide.ghost.orientation import Reals
from coincide.ghost.scan_file import Scan
from coincide.ghost.tiles import Matches, match, tile_centres

TILES = 320
LEAST_TILES = 16  # with texture: fewer cannot outvote what moved
LEAST_VOTES = 12
# Share of the tiles found that must agree. Grain makes tiles wrong without making them agree on anything
# else; in unrelated scans the best of all maps is held by some 6 %.
LEAST_SHARE = 0.18
RIVAL_SHARE = 0.8  # a second reading with this share of the votes leaves the question open
_FIRM_PX = 1.0  # of the finest level
LEAST_FIRM = 0.2  # chance and symmetrical scenes reach 0.1 to 0.15
_GATE_PX = 2.5  # of the level: what the level before leaves
_REACH_PX = 6
_JUDGE_PX = 420
_MAX_RATIO = 8.0

Advance = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Registration:
    """How B lies on A.

    alignment: pixels of A to pixels of B. at_centre: the same as shift, turn, scale, mirror at A's centre.
    static_rms_px: rms over tiles that stood still, pixels of A, both axes together. uncertainty_px: standard
    uncertainty of the map where the tiles lie. tiles_px (n, 2), off_px (n, 2), still (n,): every
    matched tile, how far it lies from the map, and whether it counts as still. asked: tiles with texture.
    share: of the matched
    tiles, those within a pixel of the map. criterion: penalised cost of each kind of map tried.
    """

    alignment: Alignment
    at_centre: Similarity
    frame_a_px: tuple[int, int]
    frame_b_px: tuple[int, int]
    static_rms_px: float
    uncertainty_px: float
    tiles_px: Floats
    off_px: Floats
    still: npt.NDArray[np.bool_]
    asked: int
    share: float
    criterion: dict[str, float]
    factor: int


def register(a: Scan, b: Scan, advance: Advance = lambda _: None, richest: str = "smooth") -> Registration:
    """Register `b` on `a`. Raises BadInput ('cannot tell') where no single map is supported.

    `richest`: 'similarity', 'homography' or 'smooth', the richest map that may be chosen.
    """
    rng = np.random.default_rng(20_06)
    advance("finding mirror, turn and scale")
    thumb_a, factor_a = _thumb(a.grey)
    thumb_b, factor_b = _thumb(b.grey)
    _refuse_blank(thumb_a, a)
    _refuse_blank(thumb_b, b)
    alignment = _start(a, b, (thumb_a, factor_a), (thumb_b, factor_b), rng)

    advance("refining on what stood still")
    levels = _levels(a.grey.shape, alignment)
    frame = (a.grey.shape[1], a.grey.shape[0])
    for factor in [*levels, levels[-1], levels[-1]]:
        matches = _matches_at(a.grey, b.grey, alignment, factor, _REACH_PX)
        held = _agreeing(matches, _GATE_PX * factor, rng)
        _refuse_few(int(held.sum()), matches, a, b)
        kept = _only(matches, held)
        fit, cost = fit_best(kept.a_px, kept.b_px, kept.doubt, alignment, frame, richest)
        alignment = fit.alignment
    return _result(a, b, fit, matches, cost, levels[-1])


def _agreeing(matches: Matches, gate_px: float, rng: np.random.Generator) -> npt.NDArray[np.bool_]:
    """Matches within `gate_px` (pixels of A) of the similarity, on top of `alignment`, that most agree on."""
    if len(matches.a_px) < LEAST_VOTES:
        return np.zeros(len(matches.a_px), np.bool_)
    there = matches.a_px + matches.off_px
    agreed = consensus(matches.a_px, there, matches.doubt, False, gate_px / 2, rng)
    return np.asarray(np.linalg.norm(there - agreed.to_b(matches.a_px), axis=1) < gate_px, np.bool_)


def _only(matches: Matches, which: npt.NDArray[np.bool_]) -> Matches:
    return Matches(
        matches.a_px[which],
        matches.b_px[which],
        matches.off_px[which],
        matches.doubt[which],
        matches.asked,
        matches.shown,
    )


def _gauge(alignment: Alignment) -> float:
    return math.sqrt(abs(np.linalg.det(alignment.matrix[:2, :2])))


def _thumb(grey: Reals) -> tuple[Reals, int]:
    factor = max(1, math.ceil(max(grey.shape) / THUMB_PX))
    return block_mean(grey, factor), factor


def _refuse_blank(thumb: Reals, scan: Scan) -> None:
    if float(np.ptp(thumb)) < 0.01 or float(thumb.std()) < 0.002:
        raise BadInput(f"{scan.name}: holds nothing to register on: it is one even tone. Check the scan.")


# -- first guess -----------------------------------------------------------------------------------


def _start(
    a: Scan, b: Scan, thumb_a: tuple[Reals, int], thumb_b: tuple[Reals, int], rng: np.random.Generator
) -> Alignment:
    """Guesses in order of likelihood; the first stage whose best guess the tiles confirm wins."""
    sketch_a, sketch_b = _reduced_to(thumb_a, SKETCH_PX), _reduced_to(thumb_b, SKETCH_PX)
    rough, fine = Finder(sketch_a[0], sketch_b[0]), Finder(thumb_a[0], thumb_b[0])
    likely = _likely_ratios(a, b)
    wide = [r for r in 1.17 ** np.arange(-6, 7) if all(abs(math.log(r / k)) > 0.08 for k in likely)]
    stages = (
        (rough, likely, (0, 2)),
        (fine, likely, (0, 2)),
        (rough, likely, (1, 3)),
        (rough, wide, (0, 1, 2, 3)),
    )
    for finder, ratios, quarters in stages:
        at_a, at_b = (sketch_a[1], sketch_b[1]) if finder is rough else (thumb_a[1], thumb_b[1])
        found = finder.search([ratio * at_a / at_b for ratio in ratios], quarters, best=3)
        polished = [fine.polish(guess, at_a / thumb_a[1], at_b / thumb_b[1]) for guess in found]
        polished.sort(key=lambda guess: -guess.score)
        confirmed = _confirmed(a, b, polished, thumb_a[1], thumb_b[1], rng)
        if confirmed is not None:
            return confirmed
    raise BadInput(
        f"{a.name} and {b.name}: cannot tell how they fit together. Too little agrees between them: check that "
        "they show the same scene at the same moment, are turned by less than 5 degrees, and overlap by half."
    )


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


def _confirmed(
    a: Scan, b: Scan, found: list[Guess], factor_a: int, factor_b: int, rng: np.random.Generator
) -> Alignment | None:
    """The guess most tiles agree with, if enough do and no other reading (mirrored, turned) does as well."""
    level = max(1, math.ceil(max(a.grey.shape) / _JUDGE_PX))
    judged: list[tuple[int, Guess, Alignment]] = []
    for guess in _one_of_each(found):
        full = guess.alignment.reduced(1 / factor_a, 1 / factor_b)
        if not 1 / (_MAX_RATIO * 1.2) < _gauge(full) < _MAX_RATIO * 1.2:
            continue
        factor = max(level, math.ceil(1 / _gauge(full)))
        reach = math.ceil(2.5 * factor_a / factor) + 5
        matches = _matches_at(a.grey, b.grey, full, factor, reach)
        if len(matches.a_px) < LEAST_VOTES:
            continue
        within = 2.0 * factor * _gauge(full)
        agreed = consensus(matches.a_px, matches.b_px, matches.doubt, guess.mirrored, within, rng)
        off = np.linalg.norm(matches.b_px - agreed.to_b(matches.a_px), axis=1)
        votes = int((off < within).sum())
        if votes >= max(LEAST_VOTES, LEAST_SHARE * len(off)):
            judged.append((votes, guess, agreed))
    if not judged:
        return None
    judged.sort(key=lambda entry: -entry[0])
    votes, best, alignment = judged[0]
    for other_votes, other, _ in judged[1:]:
        differs = (other.mirrored, other.quarter) != (best.mirrored, best.quarter)
        if differs and other_votes > RIVAL_SHARE * votes:
            raise BadInput(
                f"{a.name} and {b.name}: cannot tell whether they are mirrored or turned: both readings fit. "
                "Give a pair with something unsymmetrical in it."
            )
    return alignment


def _one_of_each(found: list[Guess]) -> list[Guess]:
    """The best guess of every way of holding B, and the runner-up of the best way."""
    kept: list[Guess] = []
    for guess in found:
        alike = [k for k in kept if (k.mirrored, k.quarter) == (guess.mirrored, guess.quarter)]
        if not alike or (len(alike) == 1 and alike[0] is kept[0]):
            kept.append(guess)
    return kept


# -- refining --------------------------------------------------------------------------------------


def _levels(shape: tuple[int, ...], alignment: Alignment) -> list[int]:
    """Reduction factors of A from coarse to fine; the last is full resolution of the coarser scan."""
    finest = max(1, round(1 / _gauge(alignment)))
    factors = []
    factor = max(1, max(shape) // _JUDGE_PX)
    while factor > finest:
        factors.append(factor)
        factor = factor // 2 if factor > 3 else 1
    return [*factors, finest]


def _matches_at(a: Reals, b: Reals, alignment: Alignment, factor: int, reach: int) -> Matches:
    """Match tiles on copies reduced by `factor` (A) and what suits it (B); answers in full pixels."""
    factor_b = max(1, round(factor * _gauge(alignment)))
    small_a, small_b = block_mean(a, factor), block_mean(b, factor_b)
    short = min(small_a.shape)
    tile = int(np.clip(short // 8, 24, 96)) // 2 * 2
    centres = tile_centres((small_a.shape[0], small_a.shape[1]), tile, TILES, 5)
    found, _ = match(small_a, small_b, alignment.reduced(factor, factor_b), centres, tile, reach)
    return Matches(
        (found.a_px + 0.5) * factor - 0.5,
        (found.b_px + 0.5) * factor_b - 0.5,
        found.off_px * factor,
        found.doubt,
        found.asked,
        found.shown,
    )


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
    gauge = _gauge(fit.alignment)
    off = (matches.b_px - fit.alignment.to_b(matches.a_px)) / gauge
    still = np.linalg.norm(off, axis=1) / matches.doubt < 3.0 * fit.deviation_px
    _refuse_few(int(still.sum()), matches, a, b)
    firm = np.linalg.norm(off, axis=1) < _FIRM_PX * factor
    if firm.mean() < LEAST_FIRM:
        raise BadInput(
            f"{a.name} and {b.name}: cannot tell: the best fit holds for {firm.mean():.0%} of the places "
            f"recognised, and "
            f"{LEAST_FIRM:.0%} is needed to trust it. Check that both show the same moment, in focus."
        )
    frame_a = (a.grey.shape[1], a.grey.shape[0])
    middle = np.array([(frame_a[0] - 1) / 2, (frame_a[1] - 1) / 2])
    weight = 1.0 / matches.doubt[still] ** 2
    rms = math.sqrt(float((weight @ (off[still] ** 2).sum(axis=1)) / weight.sum()))
    freedom = PARAMETERS[fit.alignment.kind]
    # Mean variance of a least-squares prediction over its own points: parameters / observations.
    uncertainty = rms / math.sqrt(2) * math.sqrt(freedom / (2 * max(int(still.sum()), freedom)))
    return Registration(
        alignment=fit.alignment,
        at_centre=fit.alignment.at(middle),
        frame_a_px=frame_a,
        frame_b_px=(b.grey.shape[1], b.grey.shape[0]),
        static_rms_px=rms,
        uncertainty_px=uncertainty,
        tiles_px=matches.a_px,
        off_px=off,
        still=still,
        asked=matches.asked,
        share=float(firm.mean()),
        criterion=cost,
        factor=factor,
    )
