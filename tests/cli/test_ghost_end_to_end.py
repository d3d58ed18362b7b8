"""A skew that the simulator made, rendered as a ghost in two scans, comes back as that skew; and the JSON's keys."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from coincide.box.cable.client import BoxClient
from coincide.box.conduct import run_series
from coincide.box.plans import SeriesPlan
from coincide.box.simulated.port import open_simulated
from coincide.session.frames import Frame, write_frames
from tests.box.sinks import MemorySession, header_for
from tests.cli.running import run
from tests.cli.test_json_on_the_page import keys_on_the_page
from tests.scans.pairs import Change, Mover, make_pair

SPEED_M_S, AWAY_M, FOCAL_M, PITCH_M = 15 / 3.6, 15.0, 0.035, 25.4e-3 / 4000
OFFSET_S = 0.010  # most of the simulated bodies' skew taken off, so that the ghost fits the search


def true_skews_s() -> list[float]:
    """Skews of pairs fired by the simulated box, first shots left out, with a part of the offset on."""
    port = open_simulated("steady", seed=11)
    client = BoxClient(port)
    run_series(client, MemorySession(header_for(client)), SeriesPlan(4))
    return [truth.skew_s - OFFSET_S for truth in port.truth[1:]]


@pytest.mark.parametrize("skew_s", true_skews_s())
def test_the_simulators_skew_comes_back(tmp_path: Path, skew_s: float) -> None:
    # Thin lens focused on the subject, worked here by hand: image distance over distance, times the way gone.
    on_film_m = FOCAL_M / (AWAY_M - FOCAL_M) * SPEED_M_S * skew_s
    mover = Mover((260.0, 170.0), (90, 72), (on_film_m / PITCH_M, 0.0), "gravel")
    pair = make_pair("coffee", Change(turn_deg=0.6, tones="invert", grain=0.01, movers=(mover,)), seed=8)
    for name, image in (("a.png", pair.a), ("b.png", pair.b)):
        Image.fromarray((image * 255).astype(np.uint8)).save(tmp_path / name)
    assert run(["rig", "new"], tmp_path).code == 0
    scans = run(["scans", "a.png", "b.png", "--dpi", "4000", "--json"], tmp_path)
    assert set(json.loads(scans.out)) == keys_on_the_page("coincide-scans-result")
    (tmp_path / "scans.json").write_text(scans.out)
    asked = [
        "ghost",
        "--scans",
        "scans.json",
        "--region",
        "1",
        "15 km/h right",
        "15 m",
        "--skew",
        f"{skew_s * 1e3} ms",
    ]
    found = json.loads(run([*asked, "--json"], tmp_path).out)
    assert set(found) == keys_on_the_page("coincide-ghost-result")
    assert abs(found["skew_s"] - skew_s) <= 2 * found["u_s"]
    # Sync contacts alone know the skew too roughly to prove that; known as gate sensors calibrate it, it does.
    assert found["verdict"] == "cannot tell"
    calibrated = json.loads(run([*asked, "--skew-within", "0.5 ms", "--json"], tmp_path).out)
    assert calibrated["verdict"] == "timing"


def test_a_roll_in_one_table(tmp_path: Path) -> None:
    mover = Mover((260.0, 170.0), (90, 72), (6.0, 0.0), "gravel")
    pair = make_pair("coffee", Change(movers=(mover,)), seed=9)
    for name, image in (("a.png", pair.a), ("b.png", pair.b)):
        Image.fromarray((image * 255).astype(np.uint8)).save(tmp_path / name)
    (tmp_path / "roll.csv").write_text("a,b,frame\na.png,b.png,1\na.png,missing.png,2\n")
    found = json.loads(run(["scans", "--roll", "roll.csv", "--dpi", "4000", "--json"], tmp_path).out)
    assert set(found) == keys_on_the_page("coincide-roll-result")
    assert abs(found["pairs"][0]["ghost_px"] - 6.0) < 0.5
    assert "missing.png" in found["pairs"][1]["refused"]


def test_a_roll_with_the_frame_log_says_what_an_offset_would_have_removed(tmp_path: Path) -> None:
    """Three frames, B late by 3, 4 and 5 ms, their ghosts in proportion: 4 ms more on A removes most of it."""
    rows, frames = ["a,b,frame"], []
    for number, skew_s in enumerate((0.003, 0.004, 0.005), 1):
        mover = Mover((260.0, 170.0), (90, 72), (skew_s * 1500.0, 0.0), "gravel")
        pair = make_pair("coffee", Change(movers=(mover,)), seed=20 + number)
        for name, image in (("a", pair.a), ("b", pair.b)):
            Image.fromarray((image * 255).astype(np.uint8)).save(tmp_path / f"{name}{number}.png")
        rows.append(f"a{number}.png,b{number}.png,{number}")
        nan = float("nan")
        frames.append(
            Frame(number, number - 1, 1, 1.0, "1/60+1/30", "out", skew_s, nan, nan, 0.0, 0.0, 0.002)
        )
    (tmp_path / "roll.csv").write_text("\n".join(rows) + "\n")
    write_frames(tmp_path / "frames.csv", frames)
    asked = ["scans", "--roll", "roll.csv", "--frames", "frames.csv", "--dpi", "4000", "--json"]
    found = json.loads(run(asked, tmp_path).out)
    assert [row["skew_s"] for row in found["pairs"]] == pytest.approx([0.003, 0.004, 0.005])
    assert found["summary"]["offset_change_s"] == pytest.approx(0.004, abs=5e-4)
    assert found["summary"]["removed"] > 0.7
