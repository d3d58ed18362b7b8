"""The offset over many seeded worlds: coverage, width against an oracle, keepers promised and obtained.

Two fresh series follow each measured one. In the first the warm-up goes on: its centre and its count must
fall where `verify` says they will, scattered no wider than counting explains. In the second the bodies are
held as they were at the end of the measured series, the state that `expected_keepers` speaks of: there the
promise must be kept on average, and world by world to within counting.

The worlds and the oracle are stated in skew_worlds.py. The normal run takes a subset, `make soak` all 2000;
the seeds are simply 0, 1, 2, ..., which were not the ones the estimator was made with. In the subset the
mean width ratio itself has a standard error of 0.03, so its limit there is three of those wider.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from coincide.timing.offset.suggest import suggest_offset
from coincide.timing.offset.verify import verify
from tests.timing.offset.skew_worlds import KINDS, Floats, make_world, oracle_width

MS = 1e-3


@dataclass(frozen=True)
class Campaign:
    """One row a world."""

    kind: Floats
    meets_best: Floats
    covers_centre: Floats
    width: Floats
    oracle: Floats
    centre_agrees: Floats
    count_agrees: Floats
    foretold: Floats
    came: Floats
    promised: Floats
    obtained: Floats
    counting_variance: Floats
    going_on_variance: Floats


def run(seeds: range) -> Campaign:
    rows = []
    for seed in seeds:
        world = make_world(seed)
        rng = np.random.default_rng([7, seed])
        skew = world.skews(rng, 0, world.n)
        found = suggest_offset(skew * MS, tolerance_s=world.tolerance * MS)
        low, high = (edge / MS for edge in found.interval_s)
        best_low, best_high = world.best_set()
        end = float(world.centre(world.n - 1))
        offset = found.offset_s / MS
        fresh = world.skews(rng, world.n, world.fresh) - offset
        came = verify(found, fresh * MS)
        held = (world.skews(rng, world.n, world.fresh, held=True) - offset)[1:]
        share = float(world.keepers(offset - end))
        # The true share of the shots that were counted: the warm-up has taken their centre further.
        moving = float(
            world.keepers(offset - world.centre(np.arange(world.n + 1, world.n + world.fresh))).mean()
        )
        rows.append(
            (
                KINDS.index(world.kind),
                high >= best_low and low <= best_high,
                low <= end <= high,
                high - low,
                oracle_width(world, skew),
                came.centre_agrees,
                came.keepers_agree,
                came.predicted_share,
                came.share,
                found.expected_keepers,
                float(np.mean(np.abs(held) <= world.tolerance)),
                share * (1.0 - share) * (1.0 / world.n + 1.0 / held.size),
                moving * (1.0 - moving) * (1.0 / world.n + 1.0 / came.pairs),
            )
        )
    return Campaign(*np.array(rows, dtype=np.float64).T)


def judge(found: Campaign, slack: float, width: float) -> None:
    """`slack` is three standard errors of a share of 0.95 at this number of worlds; `width` the limit on
    mean width over oracle."""
    gap, going_on = found.promised - found.obtained, found.foretold - found.came
    print(
        f"\nworlds {found.width.size}: best set met {found.meets_best.mean():.4f}, centre covered "
        f"{found.covers_centre.mean():.4f}, width/oracle {found.width.mean() / found.oracle.mean():.3f}, verified "
        f"centre {found.centre_agrees.mean():.4f}, keepers in range {found.count_agrees.mean():.4f}, promised less "
        f"obtained {gap.mean():+.4f}, scatter/counting {np.mean(gap**2) / found.counting_variance.mean():.3f}; "
        f"with the warm-up going on {going_on.mean():+.4f}, "
        f"{np.mean(going_on**2) / found.going_on_variance.mean():.3f}"
    )
    for index, kind in enumerate(KINDS):
        rows = found.kind == index
        print(
            f"  {kind}: {found.meets_best[rows].mean():.3f}, {found.covers_centre[rows].mean():.3f}, "
            f"{found.width[rows].mean() / found.oracle[rows].mean():.3f}, {found.centre_agrees[rows].mean():.3f}, "
            f"{gap[rows].mean():+.4f} {np.mean(gap[rows] ** 2) / found.counting_variance[rows].mean():.3f}"
        )
    assert found.meets_best.mean() >= 0.93
    assert found.width.mean() <= width * found.oracle.mean()
    assert abs(found.centre_agrees.mean() - 0.95) <= slack
    assert found.covers_centre.mean() >= 0.95 - slack
    assert found.count_agrees.mean() >= 0.95 - slack
    assert abs(gap.mean()) <= 0.02
    assert abs(going_on.mean()) <= 0.02
    # A sum of N squared standard normals over N has standard deviation sqrt(2/N); keepers' are no wider.
    counting = 1.0 + 3.0 * np.sqrt(2.0 / gap.size)
    assert np.mean(gap**2) <= found.counting_variance.mean() * counting
    assert np.mean(going_on**2) <= found.going_on_variance.mean() * counting


def test_a_subset_of_worlds() -> None:
    judge(run(range(96)), slack=3.0 * float(np.sqrt(0.95 * 0.05 / 96)), width=1.35)


@pytest.mark.soak
def test_two_thousand_worlds() -> None:
    judge(run(range(2000)), slack=3.0 * float(np.sqrt(0.95 * 0.05 / 2000)), width=1.25)
