"""Merge a registered pair into one picture: which channel shows what, and the exposures matched on what stood still.

The first assignment is the false colour of remote sensing: near infrared as red, red as green, green as blue (the
colour-infrared composite of any textbook of the field, from memory), in which living leaves are red.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Literal

import numpy as np
import numpy.typing as npt

from coincide.errors import BadInput
from coincide.scans.files.levels import Pixels
from coincide.scans.files.scan import Everything, read_all
from coincide.scans.files.write import NewFile, Written, write_tiff
from coincide.scans.pair import Compared
from coincide.scans.picture.resample import Reals, grain_kept, laid_strips

Source = Literal["infrared", "red", "green", "blue", "luma"]
Border = Literal["crop", "gate", "transparent"]
Body = Literal["a", "b"]

ASSIGNMENTS: Mapping[str, tuple[Source, Source, Source]] = MappingProxyType(
    {
        "infrared-red-green": ("infrared", "red", "green"),
        "infrared-green-blue": ("infrared", "green", "blue"),
        "red-infrared-blue": ("red", "infrared", "blue"),
        "two-tone": ("luma", "infrared", "infrared"),
    }
)
USUAL = "infrared-red-green"
_LUMA = np.array([0.299, 0.587, 0.114], np.float32)  # ITU-R BT.601
_FULL = 65535.0
_SAMPLES = 400_000
_TONES = (0.05, 0.95)


@dataclass(frozen=True, slots=True)
class Matching:
    """How the infrared picture's tones were brought to the colour picture's: value * gain + lift, full scale 1.

    share: part of the frame it rests on, what stood still and both show. clipped: part of the infrared pixels that it
    drives beyond black or white.
    """

    gain: float
    lift: float
    share: float
    clipped: float


@dataclass(frozen=True, slots=True)
class Merged:
    """A merged picture as it was written. size_px: of the picture. corner_px: where it begins in A (x, y)."""

    written: Written
    assignment: str
    infrared: Body
    matching: Matching
    size_px: tuple[int, int]
    corner_px: tuple[int, int]


def check_assignment(assignment: str) -> None:
    """Before any work: whether there is such an assignment. Raises BadInput."""
    if assignment not in ASSIGNMENTS:
        raise BadInput(f"There is no assignment '{assignment}'; there are {', '.join(ASSIGNMENTS)}.")


def merge(
    compared: Compared,
    paths: tuple[Path, Path],
    out: Path,
    new_file: NewFile,
    assignment: str = USUAL,
    infrared: Body = "b",
    border: Border = "crop",
    advance: Callable[[float], None] = lambda _: None,
) -> Merged:
    """Write the pair as one 16-bit RGB TIFF in A's frame, with the profile of the colour scan.

    `infrared`: which scan is the infrared one. `border`: what B does not show is cut off; with "gate" the film gates
    too; or it is made transparent by a mask. Raises BadInput where `new_file` does, and for an assignment that needs
    colours the colour scan has not.
    """
    check_assignment(assignment)
    scans = read_all(paths[0]), read_all(paths[1])
    colour = scans[0] if infrared == "b" else scans[1]
    sources = ASSIGNMENTS[assignment]
    if colour.info.channels == 1 and set(sources) & {"red", "green", "blue"}:
        raise BadInput(
            f"{colour.info.path.name} has no colours, which '{assignment}' needs. Is it the infrared scan "
            "(--infrared a), or merge with --as two-tone."
        )
    frame_px, alignment = compared.registration.frame_a_px, compared.registration.alignment
    width, height = frame_px
    picture = np.zeros((height, width, 4), np.uint16)
    tones = np.empty((height, width), np.float32) if infrared == "b" else _tone(scans[0])
    for strip in laid_strips(scans[1].pixels, alignment, frame_px):
        rows = slice(strip.top, strip.bottom)
        a = _unit(scans[0], scans[0].pixels[rows])
        b = _unit(scans[1], strip.values)
        if infrared == "b":
            tones[rows] = _luma(b)
        _fill(picture[rows], sources, a if infrared == "b" else b)
        shown = strip.seen & _inside_gates(compared, rows) if border == "gate" else strip.seen
        picture[rows, :, 3] = np.where(shown, 65535, 0)
        advance(0.8 * strip.bottom / height)
    seen = picture[..., 3] > 0
    lost = float(1 - seen.mean())
    matching = _match(compared, tones, _reference(picture, sources), seen)
    brought = np.clip(tones * matching.gain + matching.lift, 0, 1)
    for channel, source in enumerate(sources):
        if source == "infrared":
            picture[..., channel] = np.where(seen, np.rint(brought * _FULL), 0)
    corner = (0, 0)
    if border != "transparent":
        left, top, right, bottom = inside(seen)
        corner, picture = (left, top), picture[top:bottom, left:right, :3]
    extras = [2] if border == "transparent" else []
    with new_file(out) as unfinished:
        write_tiff(unfinished, picture, 3, extras, compared.a.dpi, colour.icc)
    advance(1.0)
    grain = grain_kept(alignment, frame_px)
    size = (picture.shape[1], picture.shape[0])
    return Merged(Written(out, lost, grain), assignment, infrared, matching, size, corner)


def _inside_gates(compared: Compared, rows: slice) -> npt.NDArray[np.bool_]:
    """Where rows of A's frame lie within both film gates."""
    columns = np.arange(compared.registration.frame_a_px[0], dtype=np.float64)
    places = np.stack(np.meshgrid(columns, np.arange(rows.start, rows.stop, dtype=np.float64)), axis=-1)
    of_a, of_b = compared.gates
    return of_a.inside(places) & of_b.inside(compared.registration.alignment.to_b(places))


def inside(seen: npt.NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """A rectangle (left, top, right, bottom; the last two beyond it) in which all is seen: the side with the most
    unseen is drawn in until none is left. Raises BadInput where nothing stays."""
    left, top, right, bottom = 0, 0, seen.shape[1], seen.shape[0]
    while right > left and bottom > top:
        sides = {
            "left": ~seen[top:bottom, left],
            "right": ~seen[top:bottom, right - 1],
            "top": ~seen[top, left:right],
            "bottom": ~seen[bottom - 1, left:right],
        }
        worst = max(sides, key=lambda side: float(sides[side].mean()))
        if not sides[worst].any():
            return left, top, right, bottom
        left += worst == "left"
        right -= worst == "right"
        top += worst == "top"
        bottom -= worst == "bottom"
    raise BadInput("The two scans share no rectangle: nothing is left to write.")


# -- channels --------------------------------------------------------------------------------------


def _unit(scan: Everything, values: Pixels | Reals) -> Reals:
    """The colours of some rows as (rows, width, 1 or 3), full scale 1."""
    planes = values[..., None] if values.ndim == 2 else values
    full = np.float32(np.iinfo(scan.pixels.dtype).max)
    return np.asarray(np.clip(planes[..., : scan.info.channels].astype(np.float32) / full, 0, 1), np.float32)


def _luma(colours: Reals) -> Reals:
    return np.asarray(colours @ _LUMA if colours.shape[-1] == 3 else colours[..., 0], np.float32)


def _tone(scan: Everything) -> Reals:
    return _luma(_unit(scan, scan.pixels))


def _fill(rows: npt.NDArray[np.uint16], sources: tuple[Source, Source, Source], colours: Reals) -> None:
    for channel, source in enumerate(sources):
        if source == "luma":
            rows[..., channel] = np.rint(_luma(colours) * _FULL)
        elif source != "infrared":
            rows[..., channel] = np.rint(colours[..., ("red", "green", "blue").index(source)] * _FULL)


def _reference(picture: npt.NDArray[np.uint16], sources: tuple[Source, Source, Source]) -> Reals:
    """What the infrared tones are matched to: the mean of the other channels."""
    others = [channel for channel, source in enumerate(sources) if source != "infrared"]
    return np.asarray(picture[..., others].mean(axis=-1, dtype=np.float32) / np.float32(_FULL), np.float32)


def _match(compared: Compared, tones: Reals, reference: Reals, seen: npt.NDArray[np.bool_]) -> Matching:
    """Dark and light tones of the one laid on those of the other, over what stood still.

    Two quantiles, not a regression: leaves are bright in one picture and dark in the other, and a fit would turn on
    them (common practice, no source).
    """
    still = seen.copy()
    for region in compared.motion.regions:
        x0, y0, x1, y1 = (round(edge) for edge in region.box_px)
        still[max(y0, 0) : y1, max(x0, 0) : x1] = False
    if not still.any():
        return Matching(1.0, 0.0, 0.0, 0.0)
    step = max(1, math.isqrt(still.size // _SAMPLES))
    chosen = still[::step, ::step]
    from_tones = np.quantile(tones[::step, ::step][chosen], _TONES)
    to_tones = np.quantile(reference[::step, ::step][chosen], _TONES)
    spread = float(from_tones[1] - from_tones[0])
    gain = float(to_tones[1] - to_tones[0]) / spread if spread > 1e-4 else 1.0
    lift = float(to_tones[0] - gain * from_tones[0])
    brought = tones[::step, ::step][chosen] * gain + lift
    clipped = float(((brought < 0) | (brought > 1)).mean())
    return Matching(gain, lift, float(still.mean()), clipped)
