"""Planning figures beside traced ones over random rigs: the deviations, and the page that tells them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from coincide.planning.limits import hand_movement
from coincide.planning.nearest import nearest
from coincide.planning.skew_model import skew_model
from coincide.planning.verdict import Use, focused_on_it, verdict
from coincide.rig.model import Rig, Subject
from tests.planning.traced import Mover, largest_outlines_m, turned_ends_m
from tests.rig.optics.test_geometry import random_changes
from tests.rig.rigs import REMOVE, rig_with

TIMES = ("1/500", "1/250", "1/125", "1/60", "1/30", "1/15", "1/8")
WHATS = {
    "ghost in frame centre": "no jitter: unequal exposures alone",
    "ghost over the frame": "sweeps and unequal exposures, the worst of 25 places",
    "own blur": "both bodies, across, towards or between",
    "left of a turning rig": "still scene, shift registered away, the worst of nine places",
    "kept from": "traced again at the distance promised: the ghost or blur over what is allowed",
}


@dataclass(frozen=True)
class Deviation:
    """Planned over traced, less one, and what kind of rig it was."""

    share: float
    rig: str


def random_tables(seed: int) -> dict[str, Any]:
    """What is changed of the fen rig: mounts, shutters, times, frames, lenses, focus, and a slow subject."""
    random = np.random.default_rng(seed)
    changes: dict[str, Any] = random_changes(random)
    for letter in "ab":
        changes[f"bodies.{letter}.lens.aperture"] = "f/2"  # wide open: blades add nothing to the marked time
        changes[f"bodies.{letter}.lens.focused"] = [REMOVE, "200 m", "1.5 m", "4 m"][random.integers(4)]
        changes[f"bodies.{letter}.shutter"] = dict(changes[f"bodies.{letter}.shutter"]) | {
            "exposure": str(random.choice(TIMES))
        }
    way = ["across", "towards", f"{random.uniform(5, 85):.1f} deg"][random.integers(3)]
    distance_m = float(random.uniform(1.0, 60.0))
    subject = {
        "name": "a traced subject",
        "speed": f"{max(0.0005 * distance_m, 0.001)!r} m/s",
        "distance": f"{distance_m!r} m",
        "direction": way,
        "point": "corner" if way == "towards" or random.random() < 0.7 else "centre",
    }
    return changes | {"tolerance": {"on_film": "30 um", "subject": subject}}


def random_use(seed: int) -> tuple[Use, Mover]:
    """The rig, and its subject as the tracer wants it. No jitter: what is left is geometry."""
    rig = rig_with(random_tables(seed))
    own = rig.tolerance.subject
    assert own is not None
    model = skew_model(rig, jitter_s=0.0, offset_u_s=0.0)
    return Use(rig, model, own), Mover(own.speed_m_s, own.distance_m, own.angle_rad, 1.0)


def kind_of(rig: Rig, subject: Subject) -> str:
    """'1/125 + 1/8, focal-plane + leaf, 35 + 80 mm, towards, corner'."""
    kinds = " + ".join(body.shutter.kind for body in rig.both)
    lenses = " + ".join(f"{body.lens.focal_length_m * 1e3:.0f}" for body in rig.both)
    return (
        f"{' + '.join(rig.exposures)}, {kinds}, {lenses} mm at {subject.distance_m:.1f} m, "
        f"{subject.direction}, {subject.point}"
    )


def deviations(seed: int) -> dict[str, Deviation]:
    """Each of `WHATS` for one random rig; those are left out that are nothing there."""
    use, mover = random_use(seed)
    subject, found = use.subject, verdict(use)
    kind = kind_of(use.rig, subject)
    result: dict[str, Deviation] = {}

    def note(what: str, planned: float, traced: float, least: float = 1e-7) -> None:
        if max(planned, traced) > least:
            result[what] = Deviation(planned / traced - 1.0, kind)

    if subject.point == "centre":
        ghosts, blurs = largest_outlines_m(use.rig, mover, 1)
        for one, ghost in zip(found.bodies, ghosts, strict=True):
            note("ghost in frame centre", one.ghost_m, ghost)
    else:
        ghosts, blurs = largest_outlines_m(use.rig, mover, 5)
        for one, ghost in zip(found.bodies, ghosts, strict=True):
            note("ghost over the frame", one.ghost_m, ghost)
    for one, blur in zip(found.bodies, blurs, strict=True):
        note("own blur", one.smear_m, blur)
    hand = hand_movement(use.rig, use.model, math.radians(0.2))
    if all(body.lens.focused_m is not None for body in use.rig.both):
        note("left of a turning rig", hand.left_m, turned_ends_m(use.rig, math.radians(0.2)), 1e-8)
    near_m = nearest(use).kept_m
    if near_m > 4 * max(body.lens.focal_length_m for body in use.rig.both):
        there = subject.model_copy(update={"distance_m": near_m})
        set_there = focused_on_it(Use(use.rig, use.model, there)).rig
        slow = Mover(mover.speed_m_s, near_m, mover.angle_rad, 1.0)
        ghosts, blurs = largest_outlines_m(set_there, slow, 5 if subject.point == "corner" else 1)
        note("kept from", max(*ghosts, *blurs) / 30e-6, 1.0)
    return result


def table(seeds: range) -> list[str]:
    """The rows of docs/planning-checked.md."""
    found: dict[str, list[Deviation]] = {what: [] for what in WHATS}
    for seed in seeds:
        for what, one in deviations(seed).items():
            found[what].append(one)
    rows = []
    for what, ones in found.items():
        sizes = np.abs([one.share for one in ones]) * 100
        worst = max(ones, key=lambda one: abs(one.share))
        rows.append(
            f"| {what} | {len(ones)} | {np.median(sizes):.3f} | {np.percentile(sizes, 95):.2f} | "
            f"{worst.share * 100:+.2f} | {worst.rig} |"
        )
    return rows
