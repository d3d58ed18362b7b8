"""Write pictures as TIFF: bits, colours, profile and resolution kept; where there is nothing to show, a mask says so.

A file appears under its name only once it is whole, and never in place of another.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from coincide.errors import BadInput
from coincide.scans.file import Pixels, read_all
from coincide.scans.pair import Compared
from coincide.scans.resample import grain_kept, laid_strips

_EXTRA, _ALPHA = 0, 2  # TIFF 6.0, ExtraSamples: unspecified, unassociated alpha


@dataclass(frozen=True, slots=True)
class Written:
    """A picture that was written. lost: part of it that B does not show. grain: what is left of the deviation of B's
    pixel-to-pixel grain after laying it, 1 where the pixels are untouched."""

    path: Path
    lost: float
    grain: float


def check_new_tiff(path: Path) -> None:
    """Before any work: whether a TIFF can be written under this name. Raises BadInput in a sentence."""
    if path.suffix.lower() not in (".tif", ".tiff"):
        raise BadInput(
            f"{path}: is written as a TIFF, which keeps 16 bits, colour profile and mask: name it "
            f"{path.with_suffix('.tif').name}."
        )
    if path.exists():
        raise BadInput(f"{path} exists already and stays as it is: choose another name.")
    if not path.parent.is_dir():
        raise BadInput(f"{path}: there is no folder {path.parent}; make it first.")
    if not os.access(path.parent, os.W_OK):
        raise BadInput(f"{path}: nothing may be written in {path.parent}.")


def write_registered(
    compared: Compared, path_b: Path, out: Path, advance: Callable[[float], None] = lambda _: None
) -> Written:
    """B in A's frame, with B's own depth, samples and profile, and a mask of where B shows it. Never overwrites.

    `advance` is called with the fraction done. Raises BadInput for a name that cannot be.
    """
    check_new_tiff(out)
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
    write_tiff(out, laid, colours, extras, compared.a.dpi, every.icc)
    return Written(out, 1 - seen / (width * height), grain_kept(alignment, frame_px))


def write_tiff(
    out: Path, pixels: Pixels, colours: int, extras: list[int], dpi: float | None, icc: bytes | None
) -> None:
    """Deflated TIFF of (h, w, colours + extras). Raises BadInput where it cannot be written, or the name is taken."""
    import tifffile

    said: dict[str, Any] = {"resolution": (dpi, dpi), "resolutionunit": "INCH"} if dpi else {}
    unfinished = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        tifffile.imwrite(
            unfinished,
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
        if out.exists():
            raise BadInput(f"{out} exists already and stays as it is: choose another name.")
        os.replace(unfinished, out)
    except OSError as error:
        raise BadInput(f"{out} cannot be written: {error.strerror}.") from error
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink()
