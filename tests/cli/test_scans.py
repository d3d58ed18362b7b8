"""`coincide scans` as a shell sees it."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from tests.cli.running import run
from tests.scans.pairs import Change, Mover, make_pair


@pytest.fixture(scope="module")
def frames(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A pair in which one thing moved 6.4 px right and 2.2 px up, the second scan a 16-bit TIFF of inverted tones."""
    folder = tmp_path_factory.mktemp("frames")
    mover = Mover(at=(260.0, 170.0), size=(72, 64), by=(6.4, -2.2), look="gravel")
    pair = make_pair(
        "coffee", Change(turn_deg=0.8, shift=(4.0, 2.0), tones="invert", movers=(mover,)), seed=2
    )
    Image.fromarray((pair.a * 255).astype(np.uint8)).save(folder / "a.png")
    tifffile.imwrite(
        folder / "b.tif", (pair.b * 65535).astype(np.uint16), photometric="rgb", compression="zlib"
    )
    return folder


def test_what_moved_in_pictures_and_a_registered_scan_of_sixteen_bits(frames: Path) -> None:
    ran = run(
        ["scans", "a.png", "b.tif", "--dpi", "4000", "--pictures", "p", "--registered", "laid.tif", "--json"],
        frames,
    )
    assert ran.code == 0, ran.said
    (region,) = json.loads(ran.out)["regions"]
    assert abs(region["by_px"][0] - 6.4) < 0.5
    assert abs(region["by_px"][1] + 2.2) < 0.5
    assert len(list((frames / "p").glob("*.png"))) >= 3
    assert tifffile.imread(frames / "laid.tif").dtype == np.uint16


@pytest.mark.parametrize("spoil", ["missing", "text", "cut short", "empty"])
def test_what_is_no_image(frames: Path, tmp_path: Path, spoil: str) -> None:
    path = tmp_path / "bad.tif"
    whole = (frames / "b.tif").read_bytes()
    content = {"text": b"no image at all", "cut short": whole[: len(whole) // 2], "empty": b""}
    if spoil in content:
        path.write_bytes(content[spoil])
    ran = run(["scans", str(frames / "a.png"), str(path), "--dpi", "4000"], tmp_path)
    assert ran.code == 2
    assert "Traceback" not in ran.said
    assert "bad.tif" in ran.err
