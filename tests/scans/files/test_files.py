"""What scanners and cameras write, beyond the plain TIFF: dark linear levels, inks, several pages, raw files.

Judges: Pillow for CMYK, LibRaw (through rawpy) for DNG; files written by tifffile and Pillow.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image

from coincide.errors import BadInput
from coincide.scans.files.scan import read_all, read_pixels, read_scan
from coincide.scans.register.lay import register
from tests.scans.pairs import Change, error_rms, make_pair, photograph


def test_a_dark_linear_scan_of_sixteen_bits_registers(tmp_path: Path) -> None:
    """A hundredth of the range, gamma 1, as a scanner writes raw."""
    pair = make_pair("coffee", Change(turn_deg=1.0, shift=(4.0, -3.0)), seed=8)
    paths = [tmp_path / "a.tif", tmp_path / "b.tif"]
    for path, image in zip(paths, (pair.a, pair.b), strict=True):
        tifffile.imwrite(path, np.rint(image**2.2 * 650).astype(np.uint16), photometric="rgb")
    found = register(read_scan(paths[0]), read_scan(paths[1]))
    assert error_rms(found.alignment, pair) < 0.1


def test_even_tone_stays_even(tmp_path: Path) -> None:
    tifffile.imwrite(tmp_path / "a.tif", np.full((200, 300), 40, np.uint16))
    scan = read_scan(tmp_path / "a.tif")
    with pytest.raises(BadInput, match="one even tone"):
        register(scan, scan)


def inks() -> np.ndarray:
    return np.asarray(
        Image.fromarray((photograph("coffee")[:120, :160] * 255).astype(np.uint8)).convert("CMYK")
    )


@pytest.mark.parametrize("bits", [8, 16])
def test_cmyk_is_read_as_pillow_shows_it(tmp_path: Path, bits: int) -> None:
    pixels = inks()
    pixels = np.where(np.arange(4) == 3, pixels // 3 + 20, pixels).astype(np.uint8)  # some black in it
    stored = pixels if bits == 8 else pixels.astype(np.uint16) * 257
    tifffile.imwrite(tmp_path / "a.tif", stored, photometric="separated", iccprofile=b"\0" * 128)
    every = read_all(tmp_path / "a.tif")
    shown = np.asarray(Image.fromarray(pixels, "CMYK").convert("RGB")).astype(float)
    assert np.abs(every.pixels / (1 if bits == 8 else 257) - shown).max() <= 1.0
    assert every.icc is None  # a profile of inks says nothing about RGB


def test_of_two_pages_of_one_size_the_colour_is_taken_and_two_alike_are_asked_about(tmp_path: Path) -> None:
    colour = (photograph("coffee")[:120, :160] * 255).astype(np.uint8)
    for name, second in (("dust.tif", colour[..., 0]), ("two.tif", colour[::-1])):
        with tifffile.TiffWriter(tmp_path / name) as out:
            out.write(second, photometric="minisblack" if second.ndim == 2 else "rgb")
            out.write(colour, photometric="rgb")
    assert np.array_equal(read_pixels(tmp_path / "dust.tif")[0], colour)
    with pytest.raises(BadInput, match="2 images of one size"):
        read_pixels(tmp_path / "two.tif")


def write_dng(path: Path) -> np.ndarray:
    """A preview on top and the mosaic in an image within, as cameras do (DNG 1.4): returns what the mosaic shows."""
    rows, columns = 240, 320
    y, x = np.mgrid[:rows, :columns]
    shown = (2000 + 6000 * ((x // 40 + y // 40) % 2)).astype(np.uint16)
    preview = np.zeros((60, 80, 3), np.uint8)
    matrix = (1, 1, 0, 1, 0, 1, 0, 1, 1, 1, 0, 1, 0, 1, 0, 1, 1, 1)
    whole: list[Any] = [
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50707, "B", 4, (1, 1, 0, 0), True),
        (50708, "s", 0, "Invented", True),
        (50721, 10, 9, matrix, True),
        (50778, "H", 1, 21, True),
    ]
    mosaic: list[Any] = [
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50714, "H", 1, 0, True),
        (50717, "H", 1, 16383, True),
    ]
    with tifffile.TiffWriter(path) as out:
        out.write(preview, photometric="rgb", subfiletype=1, subifds=1, extratags=whole, metadata=None)
        out.write(shown, photometric=32803, subfiletype=0, extratags=mosaic, metadata=None)
    return np.asarray(shown)


def test_a_raw_file_is_read_and_not_its_preview(tmp_path: Path) -> None:
    pytest.importorskip("rawpy")
    shown = write_dng(tmp_path / "a.dng")
    pixels, info = read_pixels(tmp_path / "a.dng")
    assert (info.width_px, info.height_px, info.bits) == (320, 240, 16)
    green = pixels[20:-20, 20:-20, 1].astype(float)
    assert np.corrcoef(green.ravel(), shown[20:-20, 20:-20].ravel())[0, 1] > 0.97
    light, dark = np.quantile(green, [0.8, 0.2])
    assert light / dark == pytest.approx(4.0, rel=0.02)  # linear: 8000 to 2000


def test_without_libraw_the_way_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_dng(tmp_path / "a.dng")
    monkeypatch.setitem(sys.modules, "rawpy", None)
    with pytest.raises(BadInput, match=r"coincide\[raw\]"):
        read_pixels(tmp_path / "a.dng")


def test_a_raw_file_cut_short_is_refused(tmp_path: Path) -> None:
    pytest.importorskip("rawpy")
    write_dng(tmp_path / "a.dng")
    whole = (tmp_path / "a.dng").read_bytes()
    (tmp_path / "a.dng").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(BadInput):
        read_pixels(tmp_path / "a.dng")
