"""How often each verdict is right: ghosts made by timing, otherwise, the wrong way, in part, in simulated frames.

Everything is worked by hand here (thin lens, plain vectors); nothing but `explain` is asked. The table is in
docs/at-the-light-table.md.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from coincide.ghost.evidence import Known, Thing
from coincide.ghost.explain import explain
from tests.rig.rigs import rig_with

DOCS = Path(__file__).parents[2] / "docs" / "at-the-light-table.md"
FOCAL_M = 0.035
FRAMES = 400
# Standard uncertainties of a skew: two sync contacts as a rig has them by default, and after gate sensors.
SKEWS_KNOWN = {"sync contacts, 1 ms each": 1.41e-3, "calibrated at the gate, 0.2 ms": 0.2e-3}
CAUSES = (
    "timing",
    "something else",
    "timing, but the other way",
    "timing, and as much again",
    "a quarter of it",
)


def a_frame(cause: str, known_u_s: float, rng: np.random.Generator) -> str:
    """The verdict on one frame. Speeds are judged to 10 %, distances to 5 %, ways to 7 degrees."""
    speed, away = rng.uniform(1.0, 8.0), rng.uniform(5.0, 30.0)
    skew = (
        rng.choice([-1, 1]) * rng.uniform(1e-3, 10e-3) if cause != "something else" else rng.normal(0, 0.3e-3)
    )
    by_timing = FOCAL_M * away / (away - FOCAL_M) / away * speed * skew
    way = rng.uniform(0, 2 * np.pi)
    along = np.array([np.cos(way), np.sin(way)])
    gone = by_timing * along
    if cause == "something else":
        other = rng.uniform(0, 2 * np.pi)
        gone = gone + rng.uniform(10e-6, 80e-6) * np.array([np.cos(other), np.sin(other)])
    gone = gone * {
        "timing, but the other way": -1.0,
        "timing, and as much again": 2.0,
        "a quarter of it": 0.25,
    }.get(cause, 1.0)
    measured = gone + rng.normal(0, 2e-6, 2)
    said = way + rng.normal(0, 0.13)
    thing = Thing(
        "x",
        apart_m=float(measured @ [np.cos(said), np.sin(said)]),
        aside_m=float(measured @ [-np.sin(said), np.cos(said)]),
        u_m=2e-6,
        distance_m=away * (1 + rng.normal(0, 0.05)),
        speed_m_s=speed * (1 + rng.normal(0, 0.1)),
        signed=True,
    )
    known = Known(skew + rng.normal(0, known_u_s), known_u_s, own=True, source="simulated")
    return explain(RIG, [thing], known).judged.verdict


RIG = rig_with()


def verdicts(cause: str, known_u_s: float) -> Counter[str]:
    rng = np.random.default_rng([19, CAUSES.index(cause), round(known_u_s * 1e6)])
    return Counter(a_frame(cause, known_u_s, rng) for _ in range(FRAMES))


@pytest.mark.parametrize("how", SKEWS_KNOWN)
def test_error_rates(how: str) -> None:
    text = DOCS.read_text("utf-8")
    for cause in CAUSES:
        told = verdicts(cause, SKEWS_KNOWN[how])
        percent = {verdict: 100 * number / FRAMES for verdict, number in told.items()}
        row = f"| {cause} | {how} | " + " | ".join(
            f"{percent.get(verdict, 0.0):.0f} %"
            for verdict in ("timing", "part", "not timing", "too large", "cannot tell")
        )
        print(row)
        if cause == "timing":
            assert sum(percent.get(verdict, 0.0) for verdict in ("part", "not timing", "too large")) < 9.0
        else:
            assert percent.get("timing", 0.0) < {"timing, but the other way": 1.0}.get(cause, 6.0)
        assert row + " |" in text


def known(skew_s: float, u_s: float = 1.41e-3) -> Known:
    return Known(skew_s, u_s, own=True, source="given")


def thing(apart_m: float, aside_m: float = 0.0, signed: bool = True, speed_m_s: float = 4.17) -> Thing:
    return Thing("x", apart_m, 2e-6, 15.0, speed_m_s, signed=signed, aside_m=aside_m)


def test_what_lies_across_the_way_is_not_timing() -> None:
    """Twelve pixels straight down (6.35 um each) on a thing that went right, whatever the skew was."""
    for skew_s in (0.0, 0.005, -0.005):
        judged = explain(RIG, [thing(0.5e-6, 76e-6)], known(skew_s)).judged
        assert judged.verdict == "not timing"
        assert judged.aside


def test_a_small_ghost_with_no_skew_is_left_open() -> None:
    """Four pixels at a skew of 0.0 ms known to a millisecond and a half: agreement proves nothing."""
    judged = explain(RIG, [thing(25e-6)], known(0.0)).judged
    assert judged.verdict == "cannot tell"
    assert judged.decides == "skew"
    assert explain(RIG, [thing(25e-6)], known(0.0, judged.known_u_needed_s)).judged.verdict != "cannot tell"


def test_a_skew_far_larger_than_needed_does_not_fit() -> None:
    assert explain(RIG, [thing(19e-6)], known(0.010)).judged.verdict == "too large"


def test_a_still_thing_displaced_beside_a_moving_one_counts() -> None:
    alone = explain(RIG, [thing(57e-6)], known(0.0058, 0.2e-3))
    beside = explain(RIG, [thing(57e-6), thing(25e-6, speed_m_s=0.0)], known(0.0058, 0.2e-3))
    assert alone.judged.verdict == "timing"
    assert beside.still_m == pytest.approx(25e-6)
    assert beside.u_s > 2 * alone.u_s
    assert beside.judged.verdict == "cannot tell"


def test_jitter_alone_never_proves() -> None:
    jitter = Known(0.0, 3e-3, own=False, source="jitter")
    assert explain(RIG, [thing(57e-6)], jitter).judged.verdict == "cannot tell"
    assert (
        explain(RIG, [thing(57e-6)], Known(0.0, 0.2e-3, own=False, source="jitter")).judged.verdict
        == "not timing"
    )


def test_its_own_blur_is_its_way_on_film_while_a_shutter_is_open() -> None:
    """Worked by hand: seen at instants through the exposure, first and last place of its picture apart."""
    rig = rig_with({"bodies.a.shutter.exposure": "1/60", "bodies.b.shutter.exposure": "1/30"})
    thing = Thing("x", apart_m=50e-6, u_m=2e-6, distance_m=12.0, speed_m_s=4.0, signed=True)
    (found,) = explain(rig, [thing], Known(0.004, 0.0002, own=True, source="given")).implied
    film_m = FOCAL_M * 12.0 / (12.0 - FOCAL_M)
    for seen_m, exposure_s in zip(found.blur_m, (1 / 64, 1 / 32), strict=True):
        at = np.linspace(0.0, exposure_s, 101)
        assert seen_m == pytest.approx(float(np.ptp(film_m * 4.0 * at / 12.0)), rel=0.01)
