"""A coloured edge that unequal shutter times make is not called a fault of timing, nor 'not timing'."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.cli.fen import fen_rig
from tests.cli.running import run


def edges_um(skew_s: float, times_s: tuple[float, float], image_speed_m_s: float) -> tuple[float, float]:
    """How far B's smear juts out before A's in front, and behind: a bar drawn step by step on a fine grid."""
    x_um = np.arange(-600.0, 900.0)
    reach = []
    for middle_s, time_s in zip((0.0, skew_s), times_s, strict=True):
        light = np.zeros(x_um.shape)
        for t_s in np.linspace(middle_s - time_s / 2, middle_s + time_s / 2, 2001):
            at_um = x_um - image_speed_m_s * t_s * 1e6
            light += (at_um >= 0) & (at_um < 300)
        lit = x_um[light > 0]
        reach.append((lit[0], lit[-1]))
    (a_back, a_front), (b_back, b_front) = reach
    return float(b_front - a_front), float(a_back - b_back)


@pytest.fixture
def rig(tmp_path: Path) -> Path:
    fen_rig(tmp_path)
    return tmp_path


def term_um(folder: Path, cause: str) -> float:
    found = json.loads(run(["budget", "--json"], folder).out)
    return next(1e6 * float(term["on_film_m"]) for term in found["terms"] if term["cause"] == cause)


def test_what_budget_gives_for_unequal_exposure_ghost_takes_for_unequal_exposure(rig: Path) -> None:
    subject = json.loads(run(["budget", "--json"], rig).out)["subject"]
    edge_um = term_um(rig, "unequal exposure")
    speed, away = f"{subject['speed_m_s']:.4f} m/s", f"{subject['distance_m']:g} m"
    for skew in (["--skew", "0.05 ms", "--skew-within", "0.3 ms"], []):
        ran = run(["ghost", "--thing", f"{edge_um:.0f} um", speed, away, *skew], rig)
        first = next(line for line in ran.out.splitlines() if not line.startswith(("Simulated", "Rests")))
        assert "Not timing" not in ran.out
        assert first.startswith("Not the skew alone: unequal exposures make an edge of this size")
        assert "in front and behind alike" in ran.out
    # Half as much again is neither.
    other = run(["ghost", "--thing", f"{2 * edge_um:.0f} um", speed, away, "--skew", "0.05 ms"], rig)
    assert "unequal exposures make an edge of this size" not in other.out


def test_the_edges_of_a_bar_drawn_step_by_step(rig: Path) -> None:
    """The judge draws both smears; with a skew beside the unequal times, either end's edge is recognised."""
    found = json.loads(
        run(["ghost", "--thing", "50 um", "3 m/s", "15 m", "--skew", "1 ms", "--json"], rig).out
    )
    (thing,) = found["things"]
    by_cause = {one["cause"]: one for one in thing["candidates"]}
    rate = thing["per_second_m_s"]
    front, behind = edges_um(0.0, (1 / 64, 1 / 32), rate)
    assert front == pytest.approx(behind, abs=1.5)
    assert by_cause["unequal exposure"]["size_m"] * 1e6 == pytest.approx(front, abs=1.5)
    front, behind = edges_um(2e-3, (1 / 64, 1 / 32), rate)
    assert front > behind + 20
    for edge in (front, behind):
        asked = ["ghost", "--thing", f"{edge:.0f} um", "3 m/s", "15 m", "--skew", "2 ms"]
        told = run([*asked, "--skew-within", "0.3 ms", "--json"], rig)
        assert json.loads(told.out)["verdict"] == "unequal exposure"


def test_a_corner_that_was_not_said_is_asked_for(rig: Path) -> None:
    """Curtains that run against each other: in a corner they make by themselves what was measured."""
    text = (rig / "rig.toml").read_text("utf-8")
    turned = text.replace('top_plate = "towards the scene"', 'top_plate = "towards the photographer"')
    assert turned != text
    (rig / "rig.toml").write_text(turned.replace('exposure = "1/30"', 'exposure = "1/60"'), "utf-8")
    asked = ["ghost", "--thing", "+48 um", "15 km/h", "15 m", "--skew", "0.1 ms", "--skew-within", "0.3 ms"]
    found = json.loads(run([*asked, "--json"], rig).out)
    assert (found["verdict"], found["judged"]["decides"]) == ("cannot tell", "place")
    assert "--at X Y" in run(asked, rig).out
    centre = json.loads(run([*asked, "--at", "0.5", "0.5", "--json"], rig).out)
    assert centre["verdict"] == "not timing"


def test_the_help_says_what_plus_means(rig: Path) -> None:
    assert "'+120 um' where B shows it further" in " ".join(run(["ghost", "--help"], rig).out.split())
