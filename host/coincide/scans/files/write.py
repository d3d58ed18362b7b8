"""Write pictures as TIFF: bits, colours, profile and resolution kept; where there is nothing to show, a mask says so.

How a file comes to its name, whole and never in place of another, is the caller's: a `NewFile` is handed in.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from coincide.scans.files.levels import Pixels
from coincide.scans.files.scan import read_all
from coincide.scans.pair import Compared
from coincide.scans.picture.resample import grain_kept, laid_strips

NewFile = Callable[[Path], AbstractContextManager[Path]]
"""Given a name, a name to write under: at its end the file is whole and has the first, or a sentence is raised."""

TIFF = (".tif", ".tiff")
AS_TIFF = "is written as a TIFF, which keeps 16 bits, colour profile and mask"

_EXTRA, _ALPHA = 0, 2  # TIFF 6.0, ExtraSamples: unspecified, unassociated alpha


@dataclass(frozen=True, slots=True)
class Written:
    """A picture that was written. lost: part of it that B does not show. grain: what is left of the deviation of B's
    pixel-to-pixel grain after laying it, 1 where the pixels are untouched."""

    path: Path
    lost: float
    grain: float


def write_registered(
    compared: Compared,
    path_b: Path,
    out: Path,
    new_file: NewFile,
    advance: Callable[[float], None] = lambda _: None,
) -> Written:
    """B in A's frame, with B's own depth, samples and profile, and a mask of where B shows it.

    `advance` is called with the fraction done. Raises BadInput where `new_file` does.
    """
    every = read_all(path_b)
    frame_px = compared.registration.frame_a_px
    alignment = compared.registration.alignment
    width, height = frame_px
    full = np.iinfo(every.pixels.dtype).max
    planes = every.pixels[..., None] if every.pixels.ndim == 2 else every.pixels
    laid = np.zeros((height, width, planes.shape[-1] + 1), planes.dtype)
    seen = 0
    for strip in laid_strips(planes, alignment, frame_px):
        into = laid[strip.top : strip.bottom]
        into[..., :-1] = np.clip(np.rint(strip.values), 0, full)
        into[..., -1] = np.where(strip.seen, full, 0)
        seen += int(strip.seen.sum())
        advance(strip.bottom / height)
    colours = every.info.channels
    extras = [*([_EXTRA] * (planes.shape[-1] - colours)), _ALPHA]
    with new_file(out) as unfinished:
        write_tiff(unfinished, laid, colours, extras, compared.a.dpi, every.icc)
    return Written(out, 1 - seen / (width * height), grain_kept(alignment, frame_px))


def write_tiff(
    out: Path, pixels: Pixels, colours: int, extras: list[int], dpi: float | None, icc: bytes | None
) -> None:
    """Deflated TIFF of (h, w, colours + extras). Raises OSError where it cannot be written."""
    import tifffile

    said: dict[str, Any] = {"resolution": (dpi, dpi), "resolutionunit": "INCH"} if dpi else {}
    tifffile.imwrite(
        out,
        pixels,
        photometric="rgb" if colours == 3 else "minisblack",
        planarconfig="contig",
        compression="zlib",
        predictor=True,
        extrasamples=extras or None,
        iccprofile=icc,
        software="coincide",
        metadata=None,
        bigtiff=pixels.nbytes > 3_900_000_000,
        **said,
    )
