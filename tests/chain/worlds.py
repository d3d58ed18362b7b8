"""Random simulated worlds run through the whole chain, and the truth to hold the answers against.

The true best set is found without the analysis: the centre at the end of the series comes from a twin of the
world in which nothing is random, the scatter about it by drawing what the world's bodies draw.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan, offset_plan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.random_worlds import BEHAVIOURS, KINDS, random_world
from coincide.box.simulated.spec import BodySpec, WorldSpec
from coincide.rig.file import parse_rig
from coincide.rig.plan import rig_plan
from coincide.session.memory import session_from_records
from coincide.session.model import Header
from coincide.timing.analysis import Measured, measure, offset_of, verified
from coincide.timing.offset.suggest import OffsetSuggestion
from coincide.timing.offset.verify import Verification
from tests.box.sinks import MemorySession
from tests.rig.rigs import LEAF, text_with

Floats = npt.NDArray[np.float64]
DRAWS = 200_000


@dataclass(frozen=True)
class Recovered:
    """What one world gave: the suggestion, the true best set, the verification, the true share of keepers."""

    seed: int
    world: WorldSpec
    measured: Measured
    suggestion: OffsetSuggestion
    verification: Verification
    best_set: tuple[float, float]
    true_skew_s: Floats

    @property
    def meets(self) -> bool:
        low, high = self.suggestion.interval_s
        return low <= self.best_set[1] and high >= self.best_set[0]


def recover(seed: int) -> Recovered:
    """Fire a series in random world `seed`, suggest, set, verify: all through the box's own bytes."""
    rng = np.random.default_rng([77, seed])
    world = random_world(seed, kind=KINDS[seed % 2], behaviour=BEHAVIOURS[(seed // 2) % 4])
    pairs, fresh_pairs = int(rng.integers(20, 61)), int(rng.integers(20, 41))
    scatter = scatter_of(world, rng)
    tolerance = float(np.std(scatter)) * float(np.exp(rng.uniform(np.log(0.7), np.log(4.0))))
    rig_toml = rig_text(world, tolerance)
    port = open_simulated(world, seed=seed)
    client = BoxClient(port)
    measured = _series(client, rig_toml, pairs, 0.0)
    true_skew_s = np.array([truth.skew_s for truth in port.truth])
    suggestion = offset_of(measured)
    fresh = _series(client, rig_toml, fresh_pairs, suggestion.offset_s)
    verification = verified(suggestion, fresh)
    end = _centre_at_the_end(world, pairs)
    low, high = best_window(scatter, tolerance)
    return Recovered(seed, world, measured, suggestion, verification, (end + low, end + high), true_skew_s)


def rig_text(world: WorldSpec, tolerance_s: float) -> str:
    """The rig file such a person would write: marked speeds, shutter kind, one gate sensor each."""
    changes: dict[str, object] = {"tolerance": {"time": f"{tolerance_s * 1e3:.6f} ms"}}
    for letter, body in (("a", world.body_a), ("b", world.body_b)):
        mark = f"1/{round(2 ** round(-np.log2(body.shutter.exposure_s)))}"
        marked = {"1/32": "1/30", "1/64": "1/60", "1/128": "1/125", "1/256": "1/250"}[mark]
        key = f"bodies.{letter}"
        changes[f"{key}.wind"] = "motor"
        if body.shutter.kind == "leaf":
            changes[f"{key}.shutter"] = LEAF | {"exposure": marked}
        else:
            changes[f"{key}.shutter.exposure"] = marked
            changes[f"{key}.shutter.sync_speed"] = "1/250"
            changes[f"{key}.shutter.travel"] = f"{body.shutter.travel_s * 1e3:.3f} ms"
        changes[f"{key}.sensors.gate_1"] = {
            "position": 0.5,
            # Calibrated by the zero check: the inputs' own delays, known to 5 us.
            "delay_on": "3.5 us",
            "delay_off": "47 us",
        }
    return text_with(changes)


def _series(client: BoxClient, rig_toml: str, pairs: int, offset_s: float) -> Measured:
    identity = client.identity
    rig = parse_rig(rig_toml)
    header = Header(
        f"2031-05-04T10:00:{pairs:02d}Z",
        "series",
        identity.tick_hz,
        identity.channels,
        rig_toml,
        {},
        rig.exposures,
    )
    kept = MemorySession(header)
    plan = SeriesPlan(pairs, offset_plan(offset_s, identity, rig_plan(rig)), interval_s=4.0)
    outcome = run_series(client, kept, plan)
    assert outcome.complete
    return measure(session_from_records(header, kept.records))


def scatter_of(world: WorldSpec, rng: np.random.Generator) -> Floats:
    """DRAWS departures of the skew from what its centre would be with nothing random, sorted.

    As the world draws them: gaussian lag, a uniform wait for the next look at the release, shutters that vary.
    """
    return np.sort(_departure(world.body_b, rng) - _departure(world.body_a, rng))


def _departure(body: BodySpec, rng: np.random.Generator) -> Floats:
    release, shutter = body.release, body.shutter
    wait = release.polling_s * rng.uniform(0.0, 1.0, DRAWS)
    exposure = shutter.exposure_s * shutter.exposure_sigma * rng.standard_normal(DRAWS)
    return np.asarray(release.sigma_s * rng.standard_normal(DRAWS) + wait + exposure / 2)


def best_window(scatter: Floats, tolerance_s: float) -> tuple[float, float]:
    """Least and greatest offset (against the centre of nothing random) within half a point of the most keepers."""
    spread = scatter[-1] - scatter[0]
    offsets = np.linspace(scatter[0] - 0.1 * spread, scatter[-1] + 0.1 * spread, 4001)
    kept = np.searchsorted(scatter, offsets + tolerance_s) - np.searchsorted(scatter, offsets - tolerance_s)
    share = kept / scatter.size
    good = offsets[share >= share.max() - 0.005]
    return float(good[0]), float(good[-1])


def _centre_at_the_end(world: WorldSpec, pairs: int) -> float:
    """Skew at the last of `pairs` pairs in a twin world in which nothing is random and no shot is a first."""
    return _twin_skews(_still(world), 60)[pairs - 1]


@lru_cache(maxsize=4)
def _twin_skews(world: WorldSpec, pairs: int) -> tuple[float, ...]:
    port = open_simulated(world, seed=0)
    client = BoxClient(port)
    header = Header("2031-05-04T11:00:00Z", "series", 1, (), "", {}, ("1/125", "1/125"))
    run_series(client, MemorySession(header), SeriesPlan(pairs, interval_s=4.0))
    return tuple(truth.skew_s for truth in port.truth)


def _still(world: WorldSpec) -> WorldSpec:
    return replace(
        world,
        body_a=_still_body(world.body_a),
        body_b=_still_body(world.body_b),
    )


def _still_body(body: BodySpec) -> BodySpec:
    return replace(
        body,
        release=replace(body.release, sigma_s=0.0, polling_s=0.0, first_shot_s=0.0),
        shutter=replace(body.shutter, exposure_sigma=0.0),
    )
