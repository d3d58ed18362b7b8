"""The invented day that `framelog` reads at a desk was fired and logged by the box's own firmware."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import numpy as np

from coincide.bench.opening.box import Where, opened_box
from coincide.box.simulated.port import SimulatedPort
from coincide.rig.calibration import calibrations_beside
from coincide.rig.file import load_rig
from tests.bench.people import Helper
from tests.cli.running import run


def test_a_day_afield_is_logged_as_it_was(tmp_path: Path, calibrated_once: Path) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    path = tmp_path / "rig.toml"
    bare = run(["framelog"], tmp_path)
    assert "out without a preset" in bare.err
    shutil.copytree(calibrated_once, tmp_path, dirs_exist_ok=True)
    ran = run(["framelog", "--csv", "roll.csv"], tmp_path)
    assert ran.code == 0, ran.said
    with (tmp_path / "roll.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    (kept,) = calibrations_beside(path)[0]
    with opened_box(load_rig(path), Where(world="a day afield"), Helper(), path) as client:
        assert isinstance(client.port, SimulatedPort)
        truth = client.port.truth  # the same seed plays the same day
    assert len(rows) == len(truth) == 24
    assert {row["preset"] for row in rows} == {kept.calibration.preset}
    logged = np.array([float(row["skew_s"]) for row in rows])
    real = np.array([one.skew_s for one in truth])
    # What `ghost` gives for a skew that was calibrated at the gate, 95 %.
    assert np.abs(logged - real).max() < 135e-6
    assert all(abs(float(row["delay_a_s"]) - kept.calibration.offset_s) < 1e-7 for row in rows)
