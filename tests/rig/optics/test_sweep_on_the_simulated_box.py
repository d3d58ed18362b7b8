"""Skew at the frame's edges, as the sweep formula has it, against bodies that expose edge by edge.

The simulated shutters know nothing of the formula: each tells when its curtains passed the edges of its own frame.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.box.simulated.worlds import world_spec
from coincide.rig.optics.sweep import sweep_skew_s
from tests.box.sinks import MemorySession, header_for
from tests.rig.rigs import REMOVE, rig_with

TRAVELS_S = (0.0072, 0.0110)
RUN_UPS = (0.0, 0.15, 0.6)


def left_at_centre(run_up: float) -> float:
    """Part of the travel left when a curtain that ran `run_up` travels from rest before the frame passes its centre:
    found in the motion itself, step by step."""
    moments = np.linspace(0.0, 1.0, 1_000_001)
    way = (run_up + moments) ** 2
    share = (way - way[0]) / (way[-1] - way[0])
    return 1.0 - float(moments[np.argmax(share >= 0.5)])


@pytest.mark.parametrize("run_up", RUN_UPS)
@pytest.mark.parametrize("against", [False, True], ids=["together", "against each other"])
def test_skew_at_the_edges(run_up: float, against: bool) -> None:
    world = world_spec("steady")
    bodies = [
        replace(body, shutter=replace(body.shutter, travel_s=travel, run_up=run_up, exposure_s=2**-6))
        for body, travel in zip(world.bodies, TRAVELS_S, strict=True)
    ]
    port = open_simulated(replace(world, body_a=bodies[0], body_b=bodies[1]))
    client = BoxClient(port)
    assert run_series(client, MemorySession(header_for(client)), SeriesPlan(3)).complete
    changes: dict[str, object] = {"splitter": REMOVE}
    for letter, travel in zip("ab", TRAVELS_S, strict=True):
        changes |= {
            f"bodies.{letter}.shutter.travel": f"{travel * 1e3} ms",
            f"bodies.{letter}.shutter.curve": round(left_at_centre(run_up), 6),
            f"bodies.{letter}.shutter.sweep": "bottom to top"
            if against and letter == "b"
            else "top to bottom",
            f"bodies.{letter}.mount": {"looks": "straight", "top_plate": "up"},
        }
    rig = rig_with(changes)
    half = rig.bodies.a.frame.height_m / 2 / rig.bodies.a.lens.focal_length_m
    # A curtain that runs down at the gate uncovers the scene from its bottom up.
    at_bottom, at_top = (float(sweep_skew_s(rig, 0.0, z)) for z in (-half, half))
    for real in port.truth:
        first, last = real.near_s, real.far_s
        b_first, b_last = (last[1], first[1]) if against else (first[1], last[1])
        assert at_bottom == pytest.approx(b_first - first[0] - real.skew_s, abs=5e-6)
        assert at_top == pytest.approx(b_last - last[0] - real.skew_s, abs=5e-6)
