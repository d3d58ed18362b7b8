"""`coincide scans --merged`, `--fringes` and a roll, as a person calls them."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from coincide.cli.scans import command
from coincide.errors import BadInput
from tests.scans.pairs import Change, Mover, make_pair


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    mover = Mover((300.0, 170.0), (120, 100), (9.0, 0.0), look="gravel")
    one = make_pair("coffee", Change(turn_deg=0.4, shift=(2.2, 1.4), movers=(mover,)), seed=8)
    for name, pixels in (("a.png", one.a), ("b.png", one.b.mean(axis=-1))):
        Image.fromarray(np.round(pixels * 255).astype(np.uint8)).save(tmp_path / name)
    return tmp_path


def test_merged_and_fringes_in_one_call(folder: Path) -> None:
    names = [str(folder / name) for name in ("a.png", "b.png")]
    files = ["--merged", str(folder / "m.tif"), "--fringes", str(folder / "f.png")]
    said = CliRunner().invoke(command, [*names, *files, "--dpi", "4000", "--print", "30 cm", "--json"])
    assert said.exit_code == 0, said.output
    told = json.loads(said.output)
    assert told["merged"]["assignment"] == "infrared-red-green"
    moved = next(one for one in told["fringes"]["by_cause"] if one["cause"] == "moved")
    assert 4 < moved["wide_px"] < 9.6
    assert {Path(name).name for name in told["written"]} == {"m.tif", "f.png"}

    again = CliRunner().invoke(command, [*names, *files])
    assert isinstance(again.exception, BadInput)
    assert "stays as it is" in str(again.exception)


def test_a_roll_is_merged_into_a_folder_with_a_contact_sheet(folder: Path) -> None:
    (folder / "roll.csv").write_text("a,b,frame\na.png,b.png,7\na.png,gone.png,8\n")
    said = CliRunner().invoke(
        command, ["--roll", str(folder / "roll.csv"), "--merged", str(folder / "roll"), "--json"]
    )
    assert said.exit_code == 0, said.output
    assert sorted(path.name for path in (folder / "roll").iterdir()) == [
        "contact-sheet.png",
        "frame-0007-merged.tif",
    ]
    with Image.open(folder / "roll" / "contact-sheet.png") as sheet:
        assert sheet.width > 800
    assert len(json.loads(said.output)["written"]) == 2
