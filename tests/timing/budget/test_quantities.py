"""What a session reports of each quantity, through the box's own bytes; circuits, zero check and lamp included."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from coincide.box.simulated.spec import GateSpec, WorldSpec
from coincide.box.simulated.worlds import world_spec
from coincide.timing.budget.known import Known, Wiring, WiringTerm, Zero, known_table
from coincide.timing.budget.quantities import Reported, reported, skew_budget
from tests.rig.rigs import REMOVE
from tests.timing.simulated import INPUTS, Fired, fired

WORLDS = 6
MS = 1e-3
US = 1e-6


def two_gates(seed: int) -> Fired:
    """Steady bodies, two gate sensors each, their travels and curves as the rig gives them within its uncertainty."""
    world = world_spec("steady")
    gates = (GateSpec(0.12), GateSpec(0.88))
    changes: dict[str, object] = {}
    rng = np.random.default_rng(seed)
    bodies = []
    for letter, body in (("a", world.body_a), ("b", world.body_b)):
        travel = body.shutter.travel_s * (1 + 0.05 * float(rng.standard_normal()))
        bodies.append(replace(body, gates=gates, shutter=replace(body.shutter, travel_s=travel)))
        key = f"bodies.{letter}"
        changes |= {
            f"{key}.wind": "motor",
            f"{key}.shutter.exposure": {"a": "1/125", "b": "1/60"}[letter],
            f"{key}.shutter.sync_speed": REMOVE,
            f"{key}.shutter.travel": f"{body.shutter.travel_s * 1e3} ms",
            f"{key}.sensors.gate_1": {"position": 0.12, "width": "0.72 mm", **INPUTS},
            f"{key}.sensors.gate_2": {"position": 0.88, "width": "0.72 mm", **INPUTS},
        }
    return fired(replace(world, body_a=bodies[0], body_b=bodies[1]), changes, seed=seed)


def the(found: Fired, what: str, body: str | None = None) -> Reported:
    (one,) = [one for one in reported(found.analysis) if (one.what, one.body) == (what, body)]
    return one


def truth_of(found: Fired, what: str, body: str | None) -> float:
    side = 0 if body == "A" else 1
    values = {
        "skew": [real.skew_s for real in found.truth],
        "lag": [real.lag_s[side] for real in found.truth],
        "exposure": [real.exposure_s[side] for real in found.truth],
        "travel": [abs(real.far_s[side] - real.near_s[side]) for real in found.truth],
    }[what]
    return float(np.mean(values))


def test_each_quantity_is_reported_within_what_it_states() -> None:
    hits, total = 0, 0
    for seed in range(WORLDS):
        found = two_gates(seed)
        for one in reported(found.analysis):
            assert one.budget is not None
            total += 1
            hits += abs(one.value_s - truth_of(found, one.what, one.body)) <= one.budget.expanded_s
    assert total == WORLDS * 7
    assert hits >= 0.93 * total - 3  # three by chance: one world in a hundred would have more


def test_why_a_quantity_is_not_reported() -> None:
    changes = {f"bodies.{letter}.sensors.gate_1": REMOVE for letter in "ab"} | {
        f"bodies.{letter}.wind": "motor" for letter in "ab"
    }
    world = world_spec("steady").with_exposures(1 / 64, 1 / 32)
    found = fired(world, changes, pairs=10)
    assert the(found, "lag", "A").budget is not None
    assert the(found, "exposure", "A").why_not == "No gate sensor saw it."
    assert "two gate sensors" in (the(found, "travel", "B").why_not or "")


# -- circuits -------------------------------------------------------------------------------------------------


def wiring(sync_u_s: float, isolator_u_s: float, *more: WiringTerm) -> Wiring:
    terms = [
        WiringTerm(f"sync circuit of body {body}", f"sync_{body.lower()}", body, "skew", 9 * US, sync_u_s)
        for body in "AB"
    ]
    terms += [
        WiringTerm(
            f"release isolator of body {body}", f"full_{body.lower()}", body, "lag", 0.45 * MS, isolator_u_s
        )
        for body in "AB"
    ]
    return Wiring(("cell", "cell"), ("contact", "contact"), ("load", "load"), "2031-05-04", (*terms, *more))


def by_sync(known: Known) -> Fired:
    """Steady bodies seen by their sync contacts alone."""
    changes: dict[str, object] = {f"bodies.{letter}.wind": "motor" for letter in "ab"}
    changes |= {f"bodies.{letter}.sensors.gate_1": REMOVE for letter in "ab"}
    world = world_spec("steady").with_exposures(1 / 64, 1 / 32)
    return fired(world, changes, known=known_table(known))


def test_a_worse_circuit_makes_the_skew_less_certain() -> None:
    plain = by_sync(Known())
    with_circuit = by_sync(Known(wiring=wiring(300 * US, 800 * US)))
    before, after = skew_budget(plain.analysis), skew_budget(with_circuit.analysis)
    assert before is not None
    assert after is not None
    u = {part.name: part.u_s for part in after.components}
    assert_allclose(u["A: sync input delay"], 300 * US)
    assert_allclose(
        after.combined_s**2 - before.combined_s**2,
        2 * (300 * US) ** 2 - 2 * (5 * US / 3**0.5) ** 2,
        rtol=0.05,
    )
    # The offset's own interval knows of it too.
    assert with_circuit.analysis.suggestion is not None
    assert with_circuit.analysis.measured.mids.type_b_s > plain.analysis.measured.mids.type_b_s


def test_a_better_circuit_than_the_rig_says_changes_nothing() -> None:
    plain, with_circuit = by_sync(Known()), by_sync(Known(wiring=wiring(1 * US, 800 * US)))
    assert plain.analysis.measured.mids.type_b_s == with_circuit.analysis.measured.mids.type_b_s


def test_after_a_zero_check_only_what_it_leaves_counts() -> None:
    zero = Zero(1 * US, 0.5 * US, (425 * US, 455 * US), (0.6 * US, 0.7 * US), "2031-05-04T10:00:00+00:00")
    found = by_sync(Known(zero=zero, wiring=wiring(2 * US, 3 * US)))
    budget = skew_budget(found.analysis)
    assert budget is not None
    u = {part.name: part.u_s for part in budget.components}
    assert_allclose(u["B: zero check"], 0.5 * US)
    assert_allclose(u["A: sync circuit of body A"], 2 * US)
    assert not any("sync input delay" in name for name in u)
    lag = the(found, "lag", "A").budget
    assert lag is not None
    of_lag = {part.name: part.u_s for part in lag.components}
    assert_allclose(of_lag["zero check of the release"], 0.6 * US)
    assert_allclose(of_lag["release isolator of body A"], 3 * US)


def test_a_lag_counts_from_the_isolator_or_says_that_it_is_not_known() -> None:
    never, said = by_sync(Known()), by_sync(Known(wiring=wiring(1 * US, 800 * US)))
    lag_never, lag_said = the(never, "lag", "A"), the(said, "lag", "A")
    assert lag_never.budget is not None
    assert lag_said.budget is not None
    assert "release isolator, never measured" in {part.name for part in lag_never.budget.components}
    assert_allclose(lag_never.value_s - lag_said.value_s, 0.45 * MS)
    for found, one in ((never, lag_never), (said, lag_said)):
        assert one.budget is not None
        assert abs(one.value_s - truth_of(found, "lag", "A")) <= one.budget.expanded_s


def test_a_solenoid_that_will_warm_up_is_told_of() -> None:
    drift = WiringTerm("solenoid of body B warming up", "full_b", "B", "prediction", 1.5 * MS, 0.9 * MS)
    found = by_sync(Known(wiring=wiring(1 * US, 1 * US, drift)))
    (said,) = [one for one in found.analysis.findings if one.code == "release will drift"]
    assert said.body == "B"
    assert "3.0 ms later" in said.say
    assert said.advice


# -- the lamp -------------------------------------------------------------------------------------------------


def flickering(hz: float, depth: float, seed: int, exposures: tuple[str, str] = ("1/60", "1/30")) -> Fired:
    world: WorldSpec = replace(world_spec("flickering lamp"), flicker_hz=hz, flicker_depth=depth)
    changes: dict[str, object] = {}
    for letter, exposure in zip("ab", exposures, strict=True):
        changes |= {
            f"bodies.{letter}.wind": "motor",
            f"bodies.{letter}.shutter.exposure": exposure,
            f"bodies.{letter}.sensors.gate_1": {"position": 0.5, **INPUTS},
        }
    seconds = [1.0 / {"1/125": 128, "1/60": 64, "1/30": 32}[exposure] for exposure in exposures]
    return fired(world.with_exposures(*seconds), changes, seed=seed)


@pytest.mark.parametrize(("hz", "seed"), [(100.0, 1), (120.0, 2), (100.0, 3)])
def test_a_flickering_lamp_is_named_and_its_exposures_put_together(hz: float, seed: int) -> None:
    """Without that the first flash passes for the exposure: ten milliseconds off, and certain of it."""
    found = flickering(hz, 0.8, seed)
    (said,) = [one for one in found.analysis.findings if one.code == "flicker"]
    assert f"{hz:.0f} Hz" in said.say
    assert "direct current" in said.advice
    for what, body in (("skew", None), ("exposure", "A"), ("exposure", "B"), ("lag", "A"), ("lag", "B")):
        one = the(found, what, body)
        assert one.budget is not None
        assert abs(one.value_s - truth_of(found, what, body)) <= one.budget.expanded_s
    budget = skew_budget(found.analysis)
    assert budget is not None
    assert any("flickering" in part.name for part in budget.components)


def test_a_steady_lamp_is_not_suspected() -> None:
    for name in ("steady", "ennerby fen", "slow box"):
        changes: dict[str, object] = {f"bodies.{letter}.wind": "motor" for letter in "ab"}
        found = fired(world_spec(name), changes, pairs=12)
        codes = {one.code for one in found.analysis.findings}
        assert not codes & {"flicker", "unsteady exposure"}
        assert found.analysis.measured.flicker is None


def test_exposures_too_short_to_show_the_darks_are_called_unsteady() -> None:
    found = flickering(100.0, 0.8, 1, ("1/125", "1/125"))
    said = [one for one in found.analysis.findings if one.code in ("unsteady exposure", "flicker")]
    assert said
    assert all("direct current" in one.advice for one in said)
