"""The film frame's own border: found where it is, no moving thing, cut off on request, and the middle of the picture.

Judge: the border is drawn here, at a known place and turn, by scipy.ndimage and skimage.draw.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import tifffile
from scipy import ndimage

from coincide.durable import new_file
from coincide.scans.files.scan import Scan
from coincide.scans.pair import compare, compare_scans
from coincide.scans.picture.fringes import fringes
from coincide.scans.picture.merge import merge
from coincide.scans.register.gate import gate
from tests.scans.pairs import grey, photograph
from tests.scans.places import placed


def framed(
    image: np.ndarray, border: int, turn_deg: float, level: float, off: tuple[float, float] = (0.0, 0.0)
) -> np.ndarray:
    """`image` behind a gate that stands turned by a little, and shifted by `off` (x, y): `level` outside it."""
    inside = np.zeros(image.shape)
    inside[border:-border, border:-border] = 1.0
    inside = ndimage.rotate(inside, turn_deg, reshape=False, order=1)
    inside = np.clip(ndimage.shift(inside, off[::-1], order=1), 0, 1)
    return np.asarray(image * inside + level * (1 - inside), np.float32)


@pytest.mark.parametrize("level", [0.01, 0.99], ids=["dark", "light"])
def test_a_border_in_both_scans_did_not_move(level: float) -> None:
    pair = placed(4, moved=False)
    found = compare_scans(
        Scan("a", framed(pair.a, 14, 0.3, level)), Scan("b", framed(pair.b, 22, -0.5, level))
    )
    # The light border has no edge where it meets a sky as light.
    assert [len(one.lines) for one in found.gates] == ([4, 4] if level < 0.5 else [3, 4])
    assert found.motion.regions == ()
    edges = fringes(found).edges_px
    height, width = pair.a.shape
    assert edges.min() > 12
    assert (edges < [width - 12, height - 12]).all()


@pytest.mark.parametrize("name", ["coffee", "rocket", "cat", "coins"])
def test_no_border_is_seen_where_there_is_none(name: str) -> None:
    assert not gate(grey(photograph(name))).lines


@pytest.mark.parametrize("enlarged", [1, 3])
@pytest.mark.parametrize(("turn_deg", "off"), [(0.0, (0.0, 0.0)), (0.8, (9.0, -6.0)), (-1.5, (-7.0, 8.0))])
def test_its_middle_is_where_it_was_put(enlarged: int, turn_deg: float, off: tuple[float, float]) -> None:
    image = grey(photograph("gravel"))
    drawn = framed(image, 25, turn_deg, 0.01, off)
    drawn = np.repeat(np.repeat(drawn, enlarged, axis=0), enlarged, axis=1)
    found = gate(drawn)
    assert found.middle_px is not None
    assert found.picture_px is not None
    height, width = image.shape
    true = (np.array([width, height]) / 2 + off) * enlarged - 0.5
    assert np.abs(found.middle_px - true).max() < 0.5 * found.factor
    assert found.picture_px == pytest.approx(
        ((width - 50) * enlarged, (height - 50) * enlarged), abs=2 * found.factor
    )


def test_merged_within_the_gate_shows_none_of_it(tmp_path: Path) -> None:
    pair = placed(4, moved=False)
    paths = (tmp_path / "a.tif", tmp_path / "b.tif")
    for path, image, wide in zip(paths, (pair.a, pair.b), (14, 22), strict=True):
        level = (framed(image, wide, 0.4, 0.01) * 65535).astype(np.uint16)
        tifffile.imwrite(path, np.repeat(level[..., None], 3, axis=2), photometric="rgb")
    found = compare(*paths)
    merge(found, paths, tmp_path / "crop.tif", new_file, border="crop")
    merge(found, paths, tmp_path / "gate.tif", new_file, border="gate")
    dark = {name: tifffile.imread(tmp_path / f"{name}.tif")[..., 1] < 700 for name in ("crop", "gate")}
    assert dark["crop"][:3].mean() > 0.9
    for rim in (dark["gate"][:3], dark["gate"][-3:], dark["gate"][:, :3], dark["gate"][:, -3:]):
        assert rim.mean() < 0.1
