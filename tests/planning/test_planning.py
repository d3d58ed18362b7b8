"""Limits and budget: what they promise comes true on simulated pairs, and every number says where it is from."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from coincide.errors import BadInput
from coincide.planning.budget import Budget, budget
from coincide.planning.limits import hand_movement, inverse, limits
from coincide.planning.nearest import crossing
from coincide.planning.skew_model import COVER_95, SkewModel, skew_model
from coincide.planning.trace import Link
from coincide.planning.verdict import Use
from coincide.rig.model import Rig
from tests.planning.traced import turned_ends_m
from tests.rig.rigs import REMOVE, rig_with
from tests.rig.test_calibration import CALIBRATION

EQUAL: dict[str, Any] = {"bodies.b.shutter.exposure": "1/60"}
CORNER: dict[str, Any] = {"tolerance.subject.point": "corner"}
AGAINST: dict[str, Any] = {"bodies.b.mount.top_plate": "towards the photographer"}


def model_of(rig: Rig, jitter_s: float = 0.001, offset_u_s: float = 0.0002) -> SkewModel:
    return skew_model(rig, jitter_s=jitter_s, offset_u_s=offset_u_s)


@pytest.mark.parametrize("rate", [0.5, 0.9, 0.99])
@pytest.mark.parametrize("sweep_s", [0.0, 0.0004, 0.003, -0.003])
def test_so_many_pairs_stay_below_the_skew_for_a_rate(rate: float, sweep_s: float) -> None:
    model = model_of(rig_with())
    skew_s = np.random.default_rng(1).normal(sweep_s, model.random_s, 400_000)
    within = np.mean(np.abs(skew_s) <= model.skew_for_rate_s(rate, sweep_s))
    assert within == pytest.approx(rate, abs=0.003)


def test_a_rig_without_jitter_has_its_sweep_alone() -> None:
    model = model_of(rig_with(), 0.0, 0.0)
    assert model.skew_for_rate_s(0.9, 0.002) == 0.002


def test_the_calibration_gives_jitter_and_offset_and_says_so() -> None:
    model = skew_model(rig_with(), CALIBRATION)
    assert model.jitter_s == CALIBRATION.jitter_s
    assert model.offset_u_s == pytest.approx(0.0003 / COVER_95)
    assert model.unequal_s == pytest.approx((2**-5 - 2**-6) / 2)
    sources = {link.name: link.source for link in model.chain}
    assert sources["jitter"] == "calibration: jitter_s"
    assert sources["exposure of B"] == "rig: bodies.b.shutter.exposure = 1/30"


def test_nothing_is_made_up_where_nothing_was_measured() -> None:
    with pytest.raises(BadInput, match="coincide calibrate"):
        skew_model(rig_with())
    with pytest.raises(BadInput, match="cannot be"):
        skew_model(rig_with(), jitter_s=-1.0)
    with pytest.raises(BadInput, match="between 0 and 1"):
        model_of(rig_with()).skew_for_rate_s(1.0, 0.0)


@pytest.mark.parametrize("point", ["centre", "corner"])
def test_the_fastest_subject_is_kept_as_often_as_wanted(point: Any) -> None:
    """Simulated pairs of it, displaced on film by their own skew, against the rig's tolerance."""
    rig = rig_with(AGAINST)
    model = model_of(rig)
    found = limits(rig, model, keeper_rate=0.8, point=point, distances_m=(5.0, 20.0))
    skews = np.random.default_rng(2).normal(
        model.sweep_s if point == "corner" else 0.0, model.random_s, 200_000
    )
    for row, distance_m in enumerate(found.distances_m):
        m = 0.035 / (distance_m - 0.035)
        displaced_m = m * found.across_m_s[row, 0] * np.abs(skews)
        assert np.mean(displaced_m <= 30.0046e-6) == pytest.approx(0.8, abs=0.005)


def test_limits_have_the_right_shape_and_order() -> None:
    rig = rig_with()
    found = limits(rig, model_of(rig), focal_lengths_m=(0.028, 0.05, 0.1))
    assert found.across_m_s.shape == found.towards_m_s.shape == (10, 3)
    assert (np.diff(found.across_m_s, axis=0) > 0).all()  # farther is faster
    assert (np.diff(found.across_m_s, axis=1) < 0).all()  # longer is slower
    assert (found.across_blur_m_s < found.across_m_s).all()
    assert limits(rig, model_of(rig)).focal_lengths_m.tolist() == [0.035]
    with pytest.raises(BadInput, match="inside the focal length"):
        limits(rig, model_of(rig), distances_m=(0.03,))


def test_the_stricter_body_limits() -> None:
    rig = rig_with({"tolerance.scan_pixels": 3, "bodies.b.scan": "8000 dpi"})
    coarse = rig_with({"tolerance.scan_pixels": 3})
    fine, rough = (limits(one, model_of(one)).across_m_s for one in (rig, coarse))
    assert fine == pytest.approx(rough / 2)


def test_turned_round_it_agrees() -> None:
    rig = rig_with()
    model = model_of(rig)
    found = limits(rig, model, distances_m=(10.0,))
    speed = float(found.across_m_s[0, 0])
    use = Use(rig, model, crossing("a subject", speed, distance_m=10.0))
    back = inverse(use)
    assert back.nearest_m == pytest.approx(10.0)
    assert back.longest_lens_m == pytest.approx(0.035, rel=2e-3)  # the lens in use is set to 15 m
    assert back.skew_needed_s == pytest.approx(back.skew_s, rel=2e-3)
    still = use.subject.model_copy(update={"speed_m_s": 0.0})
    with pytest.raises(BadInput, match="does not move"):
        inverse(replace(use, subject=still))


@pytest.mark.parametrize("changes", [{}, EQUAL, AGAINST, EQUAL | AGAINST])
def test_what_registering_leaves_of_a_rig_that_turns(changes: dict[str, Any]) -> None:
    """A still scene, traced: each end of both exposures, less the turning that the frames have in common."""
    rig = rig_with(changes)
    rate = math.radians(2.0)
    moved = hand_movement(rig, model_of(rig), rate)
    sharp_end_m = (
        (abs(2**-5 - 2**-6) / 2 if "bodies.b.shutter.exposure" not in changes else 0.0) * rate * 0.03508
    )
    assert moved.unequal_m == pytest.approx(sharp_end_m, rel=1e-3, abs=1e-9)
    assert moved.left_m == pytest.approx(turned_ends_m(rig, rate), rel=0.02)
    assert moved.blur_m == pytest.approx(
        [rate * 0.03508 * body.shutter.exposure.nominal_s for body in rig.both], rel=1e-3
    )
    assert "no registration" in moved.say


def test_the_figures_of_a_held_rig_with_unequal_times() -> None:
    """2 deg/s, 1/60 and 1/30, 35 mm: by hand 9.6 um in frame centre; 12.2 in the corner by components, and not the
    13.2 that a turning about the diagonal would give."""
    rig = rig_with()
    told = {
        point: budget(
            rig,
            model_of(rig),
            subject=crossing("a heron", 0.001, point, 15.0),
            rate_rad_s=math.radians(2.0),
        ).verdict.ghost.turning_m
        for point in ("centre", "corner")
    }
    assert told["centre"] * 1e6 == pytest.approx(9.57, abs=0.02)
    sweeps_m = 0.0002 * math.radians(2.0) * 0.03508 * 1.277
    assert (told["corner"] - sweeps_m) * 1e6 == pytest.approx(12.2, abs=0.05)


def test_the_budget_against_simulated_pairs() -> None:
    """The total is what the asked share of pairs stays below."""
    rig = rig_with(EQUAL)
    model = model_of(rig)
    told = budget(rig, model)
    random = np.random.default_rng(3)
    ghosts_m = (
        told.terms[0].on_film_m / told.terms[0].time_s * np.abs(random.normal(0, model.random_s, 200_000))
    )
    assert np.mean(ghosts_m <= told.total_m) == pytest.approx(0.9, abs=0.005)


def test_unequal_exposures_come_first_and_the_aperture_is_the_cure() -> None:
    rig = rig_with({"bodies.a.shutter.exposure": "1/500", "bodies.b.lens.aperture": "f/8"})
    told = budget(rig, model_of(rig))
    assert told.largest.cause == "unequal exposure"
    assert told.largest.time_s == pytest.approx(0.0147, abs=0.0001)
    assert told.best is not None
    assert "Open Bittern from f/8 to f/2 and shorten its time from 1/30 to 1/500" in told.best.say
    assert told.best.total_then_m < 0.3 * told.total_m


def test_sweeps_against_each_other_are_cured_by_turning_the_body() -> None:
    rig = rig_with(EQUAL | CORNER | AGAINST)
    told = budget(rig, model_of(rig))
    assert told.largest.cause == "sweep"
    assert told.best is not None
    assert "Mount B with the top plate towards the scene" in told.best.say
    # And the promise holds when it is done.
    done = budget(rig_with(EQUAL | CORNER), model_of(rig_with(EQUAL | CORNER)))
    assert told.best.total_then_m == pytest.approx(done.total_m, rel=1e-9)


def test_jitter_and_offset_error_by_name() -> None:
    rig = rig_with(EQUAL)
    told = budget(rig, model_of(rig, 0.0001, 0.002), shots=20)
    assert told.largest.cause == "offset error"
    assert told.largest.remedy == "fire 60 more pairs to halve it"
    assert told.best is not None
    assert told.best.say.startswith("Fire 60 more pairs")
    assert budget(rig, model_of(rig, 0.002, 0.0001)).largest.cause == "jitter"


def test_a_tripod_helps_a_rig_that_turns() -> None:
    rig = rig_with(
        EQUAL | CORNER | AGAINST | {"bodies.b.shutter.travel": "16 ms", "tolerance.subject.speed": "0.01 m/s"}
    )
    told = budget(rig, model_of(rig, 0.0001, 0.0), rate_rad_s=0.1)
    assert told.largest.cause == "rig turning"
    assert told.best is not None
    assert "tripod" in told.best.say or "Mount B" in told.best.say


def test_a_subject_towards_the_camera() -> None:
    towards = {"tolerance.subject.direction": "towards", "tolerance.subject.point": "corner"}
    rig = rig_with(EQUAL | towards)
    told = budget(rig, model_of(rig))
    jitter = next(term for term in told.terms if term.cause == "jitter")
    assert jitter.on_film_m == pytest.approx(0.02163 * (15 / 3.6) / 15 * 1.644854 * 0.001, rel=1e-3)


def test_pixels_follow_the_scan() -> None:
    told = budget(rig_with(), model_of(rig_with()))
    assert told.total_pixels == pytest.approx(told.total_m / 6.35e-6)


def test_without_a_subject_there_is_no_budget() -> None:
    rig = rig_with({"tolerance.subject": REMOVE, "tolerance.time": "2 ms"})
    with pytest.raises(BadInput, match="subject"):
        budget(rig, model_of(rig))
    subject = rig_with().tolerance.subject
    assert subject is not None
    assert isinstance(budget(rig, model_of(rig), subject=subject), Budget)


def test_every_number_has_a_source() -> None:
    rig = rig_with()
    model = skew_model(rig, CALIBRATION)
    chains: list[tuple[Link, ...]] = [
        limits(rig, model).chain,
        inverse(Use(rig, model, crossing("a subject", 1.0, distance_m=10.0))).chain,
        hand_movement(rig, model, 0.03).chain,
        budget(rig, model).chain,
    ]
    for chain in chains:
        assert len({link.name for link in chain}) == len(chain)
        for link in chain:
            assert link.source.split(":")[0].split(",")[0] in (
                "rig",
                "calibration",
                "given",
                "computed",
                "computed from rig",
            )
            assert math.isfinite(link.value)
            assert link.name in str(link)
            assert link.source in str(link)


def test_less_jitter_never_makes_it_worse() -> None:
    rig = rig_with(AGAINST | CORNER)
    model = model_of(rig)
    totals = [budget(rig, replace(model, jitter_s=jitter)).total_m for jitter in (0.0, 0.0005, 0.001, 0.003)]
    assert totals == sorted(totals)
