"""`coincide scans A B --align` as a person calls it: two scans of a traced rig, the advice and its JSON."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner

from coincide.cli.scans import command
from tests.ghost.mount.test_mount_error import DPI, SET, far, world
from tests.ghost.mount.traced import picture, turned_by_hand
from tests.rig.rigs import text_with

PAGE = Path(__file__).parents[2] / "docs" / "at-the-light-table.md"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    one = world("up at the glass", "towards the scene")
    for name, camera in (("still-a.tif", one.a), ("still-b.tif", turned_by_hand(one.b, *SET))):
        pixels = np.round(picture(camera, far(), []) * 65535).astype(np.uint16)
        tifffile.imwrite(tmp_path / name, pixels, resolution=(DPI, DPI), resolutionunit="INCH")
    screws = {"pan": {"pitch": "0.5 mm", "arm": "60 mm"}, "tilt": {"pitch": "0.5 mm", "arm": "60 mm"}}
    (tmp_path / "rig.toml").write_text(text_with({"bodies.b.mount.screws": screws}))
    return tmp_path


def test_the_advice_is_said_first_and_stands_on_the_page(folder: Path) -> None:
    pair = [str(folder / "still-a.tif"), str(folder / "still-b.tif"), "--rig", str(folder / "rig.toml")]
    said = CliRunner().invoke(command, [*pair, "--align"])
    assert said.exit_code == 0, said.output
    first = " ".join(said.output.split("Its scale")[0].split())
    assert first.startswith("Bittern (B): turn its lens 0.63 degrees to its right")
    assert first in " ".join(PAGE.read_text("utf-8").split())

    told = CliRunner().invoke(command, [*pair, "--align", "--json"])
    mount = json.loads(told.output)["mount"]
    assert mount["turn"]["roll_clockwise"]["value"] == pytest.approx(-SET[2], abs=1e-3)
    assert mount["turn"]["left_m"] is None


def test_near_without_align_is_said_to_be_of_no_use(folder: Path) -> None:
    pair = [str(folder / "still-a.tif"), str(folder / "still-b.tif")]
    said = CliRunner().invoke(command, [*pair, "--near", "100", "100", "3 m"])
    assert said.exit_code == 2
    assert "--align" in said.output
