"""Read a scan: TIFF (8 or 16 bit, any lossless compression), PNG or JPEG; colour, CMYK or grey; raw files by `raw`.

Sizes are read from the file's header and bounded before any pixel is allocated. What cannot be read is
refused with a sentence that names the file.
"""

from __future__ import annotations

import contextlib
import logging
import mmap
import struct
import warnings
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from coincide.errors import BadInput
from coincide.inputs import refuse_unless_ordinary
from coincide.scans.files import png
from coincide.scans.files.levels import Grey, Pixels, rgb_of_cmyk, to_grey
from coincide.scans.files.raw import is_raw, read_raw

MOST_PIXELS = 160_000_000
LEAST_SIDE_PX = 64
MOST_IMAGES = 32  # in one file
MOST_SAMPLES = 8  # a pixel: three colours, infrared, and what an editor adds
# Editors and cameras write 72, 96, 180, 240 or 300 without having measured anything; no film scanner is set there.
LEAST_CREDIBLE_DPI = 301.0

_SEPARATED = 5  # TIFF 6.0, PhotometricInterpretation: CMYK
_BROKEN = (
    OSError,
    EOFError,
    ValueError,
    TypeError,
    LookupError,
    RuntimeError,
    ArithmeticError,
    AttributeError,
    SyntaxError,
    struct.error,
    zlib.error,
)


@dataclass(frozen=True, slots=True)
class ScanInfo:
    """What the header says. `bits` per channel; `channels` 1 or 3; `dpi` None where not credible."""

    path: Path
    width_px: int
    height_px: int
    bits: int
    channels: int
    dpi: float | None
    turn: int  # EXIF orientation, 1 to 8; already applied to what `read_pixels` returns


@dataclass(frozen=True, slots=True)
class Scan:
    """A scan ready to be measured: `grey` (height, width), float32 in 0..1."""

    name: str
    grey: Grey
    dpi: float | None = None

    @property
    def pitch_um(self) -> float | None:
        """Micrometres on the film per pixel: 25 400 / dpi."""
        return None if self.dpi is None else 25_400.0 / self.dpi


def read_scan(path: Path, dpi: float | None = None) -> Scan:
    """Read `path` as grey. `dpi`, when given, overrides what the file claims.

    Raises BadInput when the file is no image of a kind we read, is cut short, too large or too small.
    """
    pixels, info = read_pixels(path)
    return Scan(path.name, to_grey(pixels), dpi if dpi is not None else info.dpi)


@dataclass(frozen=True, slots=True)
class Everything:
    """All of a scan. pixels (h, w) or (h, w, samples): the colours first, then what else each pixel has (infrared for
    dust, a mask). icc: the colour profile, None without one."""

    pixels: Pixels
    info: ScanInfo
    icc: bytes | None


def read_all(path: Path) -> Everything:
    """A scan with its colour profile and, of a TIFF, its extra samples. Raises BadInput as `read_pixels` does."""
    pixels, info = read_pixels(path, extra=True)
    return Everything(pixels, info, _profile(path))


def read_pixels(path: Path, *, extra: bool = False) -> tuple[Pixels, ScanInfo]:
    """The pixels as stored, (h, w) or (h, w, 3), uint8 or uint16, turned as the file's orientation says.

    `extra`: with the further samples of a TIFF behind the colours.
    """
    kind = _kind(path)
    with _quiet():
        try:
            pixels, info = _read_tiff(path, extra) if kind == "tiff" else _read_pillow(path, kind)
        except _BROKEN as error:
            if isinstance(error, FileNotFoundError | PermissionError):
                raise BadInput(f"{path}: cannot be opened ({error.strerror}).") from error
            raise BadInput(
                f"{path}: starts like a {kind.upper()} but cannot be decoded; it is cut short or damaged. "
                "Copy or scan it again."
            ) from error
        except MemoryError as error:
            raise BadInput(f"{path}: too large for the memory of this computer; reduce it first.") from error
    return _turned(pixels, info.turn), info


def _kind(path: Path) -> str:
    refuse_unless_ordinary(path, "one scan")
    try:
        with path.open("rb") as stream:
            head = stream.read(8)
    except OSError as error:
        raise BadInput(f"{path}: cannot be opened ({error.strerror}).") from error
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "tiff"
    if head == b"\x89PNG\r\n\x1a\n":
        return "png"
    if head[:3] == b"\xff\xd8\xff":
        return "jpeg"
    what = "is empty" if not head else "is not a TIFF, PNG or JPEG image"
    raise BadInput(f"{path}: {what}. Export the scan as TIFF (8 or 16 bit), PNG or JPEG.")


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Libraries chatter about odd tags; our own sentence says what matters."""
    logger = logging.getLogger("tifffile")
    before = logger.disabled
    logger.disabled = True
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logger.disabled = before


def _bounded(path: Path, width: int, height: int) -> None:
    if width * height > MOST_PIXELS:
        raise BadInput(
            f"{path}: {width} x {height} is {width * height / 1e6:.0f} megapixels; at most "
            f"{MOST_PIXELS / 1e6:.0f} are read. Reduce or crop it first."
        )
    if min(width, height) < LEAST_SIDE_PX:
        raise BadInput(
            f"{path}: {width} x {height} pixels are too few to measure; give the scan, not a thumbnail."
        )


def _credible(dpi: float | None) -> float | None:
    return dpi if dpi is not None and np.isfinite(dpi) and dpi >= LEAST_CREDIBLE_DPI else None


# -- TIFF ------------------------------------------------------------------------------------------


def _page(path: Path, tiff: Any) -> Any:
    """The biggest of the first images in the file: scanners put a preview beside it. A chain of images may be bent
    back on itself and never end.

    Of several as large, the one in colour: some scanners lay the infrared channel for dust behind it. Else it is asked.
    """
    pages = list(islice(tiff.pages, MOST_IMAGES))
    largest = max(page.imagewidth * page.imagelength for page in pages)
    alike = [page for page in pages if page.imagewidth * page.imagelength == largest]
    colour = [page for page in alike if int(page.photometric) not in (0, 1)]
    if len(alike) > 1 and len(colour) != 1:
        numbers = ", ".join(str(pages.index(page) + 1) for page in alike[:8])
        raise BadInput(
            f"{path}: holds {len(alike)} images of one size (pages {numbers}); which is the scan cannot be told. Save "
            "the one that is meant as a file of its own."
        )
    return colour[0] if len(alike) > 1 else alike[0]


def _tiff_page_info(path: Path, page: Any) -> ScanInfo:
    _bounded(path, int(page.imagewidth), int(page.imagelength))
    tile = int(page.tilewidth) * int(page.tilelength) if page.is_tiled else 1
    depth = int(page.imagedepth) * int(page.tiledepth if page.is_tiled else 1)
    if int(page.samplesperpixel) > MOST_SAMPLES or depth > 1 or tile > MOST_PIXELS:
        raise BadInput(
            f"{path}: has {page.samplesperpixel} samples a pixel, {depth} layers, or tiles larger than any scan; "
            "export it as RGB or grey."
        )
    said: Any = page.bitspersample
    bits = int(said[0] if isinstance(said, tuple) else said)
    if bits not in (8, 16) or page.dtype is None or page.dtype.kind != "u":
        raise BadInput(f"{path}: holds {bits}-bit samples of kind {page.dtype}; give 8 or 16 bit integers.")
    photometric = int(page.photometric)
    if photometric not in (0, 1, 2, _SEPARATED, 6) or not _has_its_colours(page, photometric):
        raise BadInput(
            f"{path}: its colours are stored as {page.photometric.name}; export it as RGB or grey."
        )
    tags = page.tags
    dpi = None
    if "XResolution" in tags:
        top, bottom = tags["XResolution"].value
        unit = int(tags["ResolutionUnit"].value) if "ResolutionUnit" in tags else 2
        if bottom:
            dpi = top / bottom * (2.54 if unit == 3 else 1.0) if unit in (2, 3) else None
    turn = int(tags["Orientation"].value) if "Orientation" in tags else 1
    channels = 3 if photometric in (2, _SEPARATED, 6) else 1
    width, height = int(page.imagewidth), int(page.imagelength)
    return ScanInfo(path, width, height, bits, channels, _credible(dpi), turn)


def _has_its_colours(page: Any, photometric: int) -> bool:
    inks = int(page.tags["InkSet"].value) if "InkSet" in page.tags else 1
    least = {2: 3, 6: 3, _SEPARATED: 4}.get(photometric, 1)
    return int(page.samplesperpixel) >= least and (photometric != _SEPARATED or inks == 1)


def _read_tiff(path: Path, extra: bool) -> tuple[Pixels, ScanInfo]:
    import tifffile

    with tifffile.TiffFile(path) as tiff:
        if is_raw(tiff.pages[0]):
            linear = read_raw(path, _bounded)
            return linear, ScanInfo(path, linear.shape[1], linear.shape[0], 16, 3, None, 1)
        page = _page(path, tiff)
        info = _tiff_page_info(path, page)
        ends = [at + count for at, count in zip(page.dataoffsets, page.databytecounts, strict=True)]
        if not ends or max(ends) > path.stat().st_size or min(page.databytecounts) == 0:
            raise BadInput(f"{path}: is cut short: pixels are missing at its end. Copy or scan it again.")
        pixels = page.asarray()
        separate = pixels.ndim == 3 and int(page.planarconfig) == 2
    if separate:
        pixels = np.moveaxis(pixels, 0, -1)
    if int(page.photometric) == _SEPARATED:
        pixels = rgb_of_cmyk(pixels)
    if pixels.ndim == 3 and not extra:
        pixels = pixels[..., :3] if info.channels == 3 else pixels[..., 0]
    if int(page.photometric) == 0:
        inverted = np.array(pixels)
        colours = inverted if inverted.ndim == 2 else inverted[..., : info.channels]
        np.subtract(np.iinfo(pixels.dtype).max, colours, out=colours)
        pixels = inverted
    return pixels, info


def _profile(path: Path) -> bytes | None:
    """The colour profile that the file carries; not that of inks, since they are given as RGB."""
    import tifffile

    with _quiet(), contextlib.suppress(*_BROKEN):
        if _kind(path) == "tiff":
            with tifffile.TiffFile(path) as tiff:
                page = _page(path, tiff)
                tag = page.tags.get("InterColorProfile")
                inks = is_raw(tiff.pages[0]) or int(page.photometric) == _SEPARATED
                return bytes(tag.value) if tag is not None and not inks else None
        with _opened(path) as image:
            profile = image.info.get("icc_profile")
            return bytes(profile) if profile and image.mode != "CMYK" else None
    return None


# -- PNG and JPEG ----------------------------------------------------------------------------------


_ORIENTATION = 0x0112  # Exif 2.32, table 4


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """The image, its pixels not decoded yet. Pillow has a bound of its own, above ours."""
    from PIL import Image

    try:
        image = Image.open(path)
    except Image.DecompressionBombError:
        raise BadInput(
            f"{path}: claims more than {MOST_PIXELS / 1e6:.0f} megapixels, the most that are read. Reduce or crop "
            "it first."
        ) from None
    with image:
        yield image


def _image_info(path: Path, image: Any, turn: int) -> ScanInfo:
    dpi = image.info.get("dpi")
    grey = image.mode in ("1", "L", "LA", "I;16", "I;16B", "I")
    bits = 16 if image.mode.startswith("I") or (image.format == "PNG" and png.depth(path) == 16) else 8
    width, height = image.size
    return ScanInfo(
        path, width, height, bits, 1 if grey else 3, _credible(float(dpi[0]) if dpi else None), turn
    )


def _read_pillow(path: Path, kind: str) -> tuple[Pixels, ScanInfo]:
    from PIL import Image

    with _opened(path) as image:
        _bounded(path, *image.size)
        behind = png.look_over(path) if kind == "png" else None
        if kind == "png" and not {"exif", "Raw profile type exif"} & set(image.info):
            # Pillow would decode all of a PNG to look behind the pixels.
            exif = Image.Exif()
            if behind is not None:
                exif.load(behind)
        else:
            exif = image.getexif()
        info = _image_info(path, image, int(exif.get(_ORIENTATION, 1)))
        if kind == "png" and info.bits == 16:
            # Pillow would cut 16-bit colour down to 8.
            import imagecodecs

            with path.open("rb") as stream, mmap.mmap(stream.fileno(), 0, access=mmap.ACCESS_READ) as packed:
                pixels = np.asarray(imagecodecs.png_decode(packed))
            if pixels.ndim == 3:
                pixels = pixels[..., 0] if pixels.shape[-1] < 3 else pixels[..., :3]
            return pixels, info
        wanted = "L" if info.channels == 1 else "RGB"
        return np.asarray(image if image.mode == wanted else image.convert(wanted)), info


def _turned(pixels: Pixels, turn: int) -> Pixels:
    """Apply EXIF/TIFF orientation 1 to 8, so that up is up."""
    if turn in (5, 6, 7, 8):
        pixels = np.swapaxes(pixels, 0, 1)
    if turn in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if turn in (3, 4, 7, 8):
        pixels = pixels[::-1]
    return pixels
