"""The merged picture, B laid on A, and the fringe map: files opened by libraries that did not write them, and truth
put in by hand. Judges: imagecodecs (libtiff) and Pillow for the files, arithmetic for values, white noise for grain.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import imagecodecs
import numpy as np
import numpy.typing as npt
import pytest
import tifffile
from PIL import Image, ImageCms

from coincide.durable import check_new, new_file
from coincide.errors import BadInput
from coincide.scans.files.scan import Scan
from coincide.scans.files.write import AS_TIFF, TIFF, write_registered
from coincide.scans.pair import Compared, compare, compare_scans
from coincide.scans.picture.fringes import CAUSES, fringes
from coincide.scans.picture.merge import inside, merge
from coincide.scans.picture.resample import grain_kept, is_whole, laid_strips
from coincide.scans.register.alignment import Alignment
from tests.scans.pairs import Change, Mover, Pair, make_pair

Floats = npt.NDArray[np.float64]
PROFILE = bytes(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
DPI = 4000


TURNED = Change(turn_deg=1.2, shift=(6.3, -4.1), mirrored=True)


@cache
def pair(change: Change = TURNED) -> Pair:
    return make_pair("coffee", change, seed=3)


def written(folder: Path, one: Pair, *, tone: tuple[float, float] = (1.0, 0.0)) -> tuple[Path, Path]:
    """A as 16-bit colour with a profile, B as 16-bit grey, its tones changed by gain and lift."""
    paths = folder / "a.tif", folder / "b.tif"
    a = np.round(one.a * 65535).astype(np.uint16)
    grey = one.b @ np.array([0.299, 0.587, 0.114])
    b = np.round(np.clip(grey * tone[0] + tone[1], 0, 1) * 65535).astype(np.uint16)
    tifffile.imwrite(
        paths[0], a, photometric="rgb", resolution=(DPI, DPI), resolutionunit="INCH", iccprofile=PROFILE
    )
    tifffile.imwrite(paths[1], b, photometric="minisblack", resolution=(DPI, DPI), resolutionunit="INCH")
    return paths


@pytest.fixture(scope="module")
def merged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Path, Path], Compared]:
    folder = tmp_path_factory.mktemp("merged")
    paths = written(folder, pair(), tone=(0.5, 0.2))
    return folder, paths, compare(*paths)


def test_the_merged_picture_is_false_colour_with_the_colours_untouched(
    merged: tuple[Path, tuple[Path, Path], Compared],
) -> None:
    folder, paths, found = merged
    out = merge(found, paths, folder / "merged.tif", new_file)
    picture = imagecodecs.tiff_decode((folder / "merged.tif").read_bytes())
    a = np.round(pair().a * 65535).astype(np.uint16)
    x, y = out.corner_px
    width, height = out.size_px
    cut = a[y : y + height, x : x + width]
    assert picture.shape == (height, width, 3)
    np.testing.assert_array_equal(picture[..., 1], cut[..., 0])
    np.testing.assert_array_equal(picture[..., 2], cut[..., 1])
    # B is A's scene in grey, so the infrared channel has to be that grey, brought to the tones of red and green.
    grey = cut.astype(float) @ np.array([0.299, 0.587, 0.114])
    assert np.corrcoef(grey.ravel(), picture[..., 0].astype(float).ravel())[0, 1] > 0.995
    with Image.open(folder / "merged.tif") as image:
        assert image.size == (width, height)
        assert image.info["dpi"] == pytest.approx((DPI, DPI))
        assert image.info["icc_profile"] == PROFILE


def test_tones_are_matched_on_what_stood_still(merged: tuple[Path, tuple[Path, Path], Compared]) -> None:
    folder, paths, found = merged
    out = merge(found, paths, folder / "tones.tif", new_file, "two-tone")
    # Two-tone matches grey to grey: B was halved and lifted by 0.2, so it takes 2 and -0.4 to bring it back.
    assert out.matching.gain == pytest.approx(2.0, rel=0.05)
    assert out.matching.lift == pytest.approx(-0.4, abs=0.02)
    picture = imagecodecs.tiff_decode((folder / "tones.tif").read_bytes()).astype(float)
    assert np.median(np.abs(picture[..., 0] - picture[..., 1])) < 0.01 * 65535


def test_a_transparent_border_is_where_b_shows_nothing(
    merged: tuple[Path, tuple[Path, Path], Compared],
) -> None:
    folder, paths, found = merged
    out = merge(found, paths, folder / "mask.tif", new_file, border="transparent")
    picture = imagecodecs.tiff_decode((folder / "mask.tif").read_bytes())
    height, width = pair().a.shape[:2]
    assert picture.shape == (height, width, 4)
    grid = np.stack(np.meshgrid(np.arange(width), np.arange(height)), axis=-1).reshape(-1, 2)
    there = np.c_[grid, np.ones(len(grid))] @ pair().truth.T
    shown = ((there[:, :2] >= 0) & (there[:, :2] <= np.array(pair().b.shape[1::-1]) - 1)).all(axis=1)
    assert np.mean((picture[..., 3].ravel() > 0) == shown) > 0.997
    assert out.written.lost == pytest.approx(1 - shown.mean(), abs=0.003)


def test_a_scan_without_colours_is_not_merged_as_colour(
    merged: tuple[Path, tuple[Path, Path], Compared],
) -> None:
    folder, paths, found = merged
    with pytest.raises(BadInput, match="no colours"):
        merge(found, paths, folder / "wrong.tif", new_file, infrared="a")
    assert not (folder / "wrong.tif").exists()


def test_laid_on_a_keeps_profile_extra_samples_and_says_where_it_shows_nothing(tmp_path: Path) -> None:
    one = pair()
    paths = written(tmp_path, one)
    four = np.dstack([one.b, np.full(one.b.shape[:2], 0.25)])
    tifffile.imwrite(
        paths[1],
        np.round(four * 65535).astype(np.uint16),
        photometric="rgb",
        extrasamples=[0],
        iccprofile=PROFILE,
    )
    write_registered(compare(*paths), paths[1], tmp_path / "laid.tif", new_file)
    with tifffile.TiffFile(tmp_path / "laid.tif") as tiff:
        page: Any = tiff.pages[0]
        laid = page.asarray()
        assert bytes(page.tags["InterColorProfile"].value) == PROFILE
        assert tuple(page.extrasamples) == (0, 2)
    seen = laid[..., 4] > 0
    assert 0.8 < seen.mean() < 1
    assert np.abs(laid[seen][:, 3] / 65535 - 0.25).max() < 0.001


def test_pixels_are_untouched_where_the_map_is_the_identity(tmp_path: Path) -> None:
    paths = written(tmp_path, pair(Change()))
    done = write_registered(compare(*paths), paths[1], tmp_path / "laid.tif", new_file)
    laid = imagecodecs.tiff_decode((tmp_path / "laid.tif").read_bytes())
    np.testing.assert_array_equal(laid[..., 0], imagecodecs.tiff_decode(paths[1].read_bytes()))
    assert done.grain == 1.0


def _moved_by(x: float, y: float, scale: float = 1.0) -> Alignment:
    return Alignment("similarity", np.array([[scale, 0, x], [0, scale, y], [0, 0, 1.0]]))


@pytest.mark.parametrize("alignment", [_moved_by(0.5, 0.5), _moved_by(0.3, 0.0), _moved_by(1.0, 1.0, 3.0)])
def test_the_grain_that_is_left_is_that_of_white_noise_laid(alignment: Alignment) -> None:
    noise = np.random.default_rng(5).normal(30_000, 3000, (900, 900)).astype(np.uint16)
    frame = (200, 200)
    laid = np.concatenate([strip.values for strip in laid_strips(noise, alignment, frame)])
    assert laid[20:-20, 20:-20].std() / noise.std() == pytest.approx(grain_kept(alignment, frame), rel=0.05)
    if alignment.gauge == 3.0:
        # An average over 3 by 3 pixels would leave a third; picking pixels out would leave all of it.
        assert laid[20:-20, 20:-20].std() / noise.std() < 0.45


def test_whole_shifts_and_mirrorings_are_whole() -> None:
    mirrored = Alignment("similarity", np.array([[-1.0, 0, 199], [0, 1, 0], [0, 0, 1]]))
    assert is_whole(mirrored, (200, 100))
    assert is_whole(_moved_by(3.0, -2.0), (200, 100))
    assert not is_whole(_moved_by(0.3, 0.0), (200, 100))


def test_the_rectangle_inside_holds_nothing_unseen() -> None:
    rng = np.random.default_rng(2)
    for _ in range(20):
        rows, columns = np.mgrid[:90, :140]
        a, b, c, d = rng.uniform(0, 0.1, 4)
        seen = (
            (columns > a * rows)
            & (rows > b * columns)
            & (columns < 139 - c * rows)
            & (rows < 89 - d * columns)
        )
        left, top, right, bottom = inside(seen)
        assert seen[top:bottom, left:right].all()
        assert (right - left) * (bottom - top) > 0.55 * seen.sum()
    with pytest.raises(BadInput):
        inside(np.zeros((20, 30), np.bool_))


@pytest.mark.parametrize("name", ["laid.png", "there.tif", "nowhere/laid.tif"])
def test_a_name_that_cannot_be_is_refused_before_any_work(tmp_path: Path, name: str) -> None:
    (tmp_path / "there.tif").write_bytes(b"somebody's")
    with pytest.raises(BadInput):
        check_new(tmp_path / name, TIFF, AS_TIFF)
    assert (tmp_path / "there.tif").read_bytes() == b"somebody's"


def test_fringes_are_as_wide_as_the_thing_moved_across_its_edges() -> None:
    mover = Mover((300.0, 170.0), (120, 100), (9.0, 0.0), look="gravel")
    one = make_pair("coffee", Change(turn_deg=0.4, shift=(2.2, 1.4), movers=(mover,)), seed=8)
    luma = np.array([0.299, 0.587, 0.114])
    found = compare_scans(
        Scan("a", (one.a @ luma).astype(np.float32)), Scan("b", (one.b @ luma).astype(np.float32))
    )
    told = fringes(found)
    moved = told.cause == CAUSES.index("moved")
    assert moved.sum() > 200
    # Nine pixels across at most; an edge that lies along the way shows none.
    assert told.width_px[moved].max() == pytest.approx(9.0, abs=0.5)
    assert told.width_px[moved].min() < 1.0
    still = told.cause == CAUSES.index("registration")
    assert np.quantile(told.width_px[still], 0.95) < 0.3
