"""Planning against traced points over random rigs, and every advised change carried out and asked again."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from coincide.planning.budget import budget
from coincide.planning.skew_model import SkewModel, skew_model
from coincide.planning.verdict import Use, verdict
from tests.planning.checked import TIMES, deviations, random_tables, table
from tests.planning.traced import Mover, largest_outlines_m
from tests.rig.rigs import rig_with

PAGE = Path(__file__).parents[2] / "docs" / "planning-checked.md"
NAMES = {"Lapwing": "a", "Bittern": "b"}


@pytest.mark.parametrize("seed", range(24))
def test_planned_figures_are_those_of_traced_points(seed: int) -> None:
    for what, one in deviations(seed).items():
        assert abs(one.share) < 0.01, (what, one)


@pytest.mark.soak
def test_the_page_tells_the_deviations_of_two_hundred_rigs() -> None:
    text = PAGE.read_text("utf-8")
    for row in table(range(200)):
        assert row in text


# ---- promises ----------------------------------------------------------------------------------------


def carried_out(say: str) -> dict[str, Any]:
    """What a person changes in the rig file who does as the sentence says."""
    changes: dict[str, Any] = {}
    for name, mark, stop in re.findall(r"[Ss]et (\w+) to (\S+(?: s)?) at (f/[\d.]+)", say):
        changes[f"bodies.{NAMES[name]}.shutter.exposure"] = mark
        changes[f"bodies.{NAMES[name]}.lens.aperture"] = stop
    paired = re.match(r"(?:Open|Stop) (\w+) (?:down )?from \S+ to (f/[\d.]+)", say)
    if paired:
        changes[f"bodies.{NAMES[paired[1]]}.lens.aperture"] = paired[2]
    timed = re.search(
        r"(\w+)(?: down)?(?: from f\S+ to f/\S+)?(?: \(or [^)]*\))? and (?:shorten|lengthen)", say
    )
    if timed:
        mark = re.search(r"its time from .*? to (\S+(?: s)?): ", say)
        assert mark is not None
        changes[f"bodies.{NAMES[timed[1]]}.shutter.exposure"] = mark[1]
    mounted = re.match(r"Mount ([AB]) (?:looking ([\w ]+), )?with the top plate (?:facing )?([\w ]+):", say)
    if mounted:
        letter = mounted[1].lower()
        changes[f"bodies.{letter}.mount.top_plate"] = mounted[3]
        if mounted[2]:
            changes[f"bodies.{letter}.mount.looks"] = mounted[2]
    return changes


def asked_again(say: str, tables: dict[str, Any], model: SkewModel, rate_rad_s: float) -> Use:
    """The rig file after the change, read anew."""
    changed = dict(tables)
    for path, value in carried_out(say).items():
        above, _, last = path.rpartition(".")
        if above in changed:
            changed[above] = changed[above] | {last: value}
        else:
            changed[path] = value
    if "more pairs" in say or "as many pairs" in say:
        model = replace(model, offset_u_s=model.offset_u_s / 2)
    if say.startswith("Halve the jitter"):
        model = replace(model, jitter_s=model.jitter_s / 2)
    if "tripod" in say:
        rate_rad_s = 0.0
    rig = rig_with(changed)
    subject = rig.tolerance.subject
    assert subject is not None
    anew = skew_model(rig, jitter_s=model.jitter_s, offset_u_s=model.offset_u_s)
    return Use(rig, anew, subject, rate_rad_s)


def test_every_advised_change_comes_true_when_it_is_done() -> None:
    kinds: dict[str, int] = {}
    for seed in range(1000, 1200):
        random = np.random.default_rng(seed)
        tables = random_tables(seed) | {
            f"bodies.{letter}.lens.aperture": str(random.choice(["f/2", "f/4", "f/5.6", "f/8", "f/16"]))
            for letter in "ab"
        }
        for letter in "ab":
            tables[f"bodies.{letter}.shutter"] = tables[f"bodies.{letter}.shutter"] | {
                "marked": [*TIMES, "1/1000"]
            }
        rig = rig_with(tables)
        assert rig.tolerance.subject is not None
        model = skew_model(
            rig, jitter_s=float(random.uniform(0, 3e-3)), offset_u_s=float(random.uniform(0, 1e-3))
        )
        rate_rad_s = float(random.choice([0.0, 0.01]))
        told = budget(rig, model, rate_rad_s=rate_rad_s, shots=40)
        assert told.total_m == verdict(Use(rig, model, rig.tolerance.subject, rate_rad_s)).ghost.ghost_m
        for change in (*told.changes, *([told.sharpening] if told.sharpening else [])):
            then = verdict(asked_again(change.say, tables, model, rate_rad_s))
            assert then.ghost.ghost_m == pytest.approx(change.total_then_m, rel=0.01), change.say
            promised = re.search(r"becomes ([\d.e+-]+) um", change.say)
            if promised and change is not told.sharpening:
                assert float(promised[1]) * 1e-6 == pytest.approx(then.ghost.ghost_m, rel=0.01), change.say
            if change is told.sharpening:
                assert then.sharp
            kinds[change.say.split()[0]] = kinds.get(change.say.split()[0], 0) + 1
    assert {"Open", "Stop", "Put", "Mount", "Fire", "Halve", "Stand", "Set"} <= set(kinds), kinds


def test_a_time_that_is_advised_is_on_the_dial() -> None:
    """Two thirds of a stop apart, with full stops on the dial: only marks are named."""
    rig = rig_with(
        {
            "bodies.a.shutter.exposure": "1/60",
            "bodies.b.shutter.exposure": "1/25",
            "bodies.b.shutter.marked": ["1/100", "1/50", "1/25"],
        }
    )
    told = budget(rig, skew_model(rig, jitter_s=0.001))
    times = [re.search(r"its time from \S+ to (\S+):", one.say) for one in told.changes]
    named = {time[1] for time in times if time}
    assert named == {"1/50", "1/30"}


def test_stopping_down_the_faster_body_is_offered_with_its_cost() -> None:
    """A slow body that is wide open already: 76 um of unequal exposure go by stopping down the faster one."""
    rig = rig_with({"bodies.b.lens.aperture": "f/2"})
    told = budget(rig, skew_model(rig, jitter_s=0.001))
    assert told.best is not None
    assert "Stop Lapwing down from f/8 to f/11 (or put a filter of 1 stop before it)" in told.best.say
    assert "It takes 1 stop of its light" in told.best.say
    assert "own blur grows from 152 to 305 um" in told.best.say
    assert told.best.total_then_m < 0.25 * told.total_m


# ---- pictures that run as fast as a curtain ----------------------------------------------------------


@pytest.mark.parametrize("share", [0.01, 0.04, 0.12])
@pytest.mark.parametrize("point", ["centre", "corner"])
@pytest.mark.parametrize("top_plate", ["towards the scene", "towards the photographer"])
def test_a_fast_picture_is_off_by_no_more_than_is_said(share: float, point: str, top_plate: str) -> None:
    curtain_m_s = 0.036 / 0.0072
    changes = {
        f"bodies.{letter}.shutter.{key}": value
        for letter in "ab"
        for key, value in (("sweep", "left to right"), ("exposure", "1/60"), ("curve", 0.5))
    }
    speed_m_s = share * curtain_m_s * 15 / 0.03508
    rig = rig_with(
        changes
        | {
            "bodies.b.mount.top_plate": top_plate,
            "tolerance.subject": {"speed": f"{speed_m_s!r} m/s", "distance": "15 m", "point": point},
        }
    )
    own = rig.tolerance.subject
    assert own is not None
    found = verdict(Use(rig, skew_model(rig, jitter_s=0.0), own))
    mover = Mover(own.speed_m_s, own.distance_m, 0.0, 1.0)
    ghosts, _ = largest_outlines_m(rig, mover, 1 if point == "centre" else 5)
    for one, ghost in zip(found.bodies, ghosts, strict=True):
        assert abs(ghost - one.ghost_m) <= one.fast_m * 1.001 + 1e-9
        assert one.fast_share == pytest.approx(share, rel=0.02)
    assert found.too_fast == (share > 0.02)
