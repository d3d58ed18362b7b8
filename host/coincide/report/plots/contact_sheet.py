"""A roll's merged pictures on one sheet, each with its frame and what was found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from coincide.durable import write_outputs
from coincide.errors import BadInput
from coincide.scans.files.scan import read_pixels

_ACROSS = 4
_SIDE_PX = 420
_LINE_PX = 22
_RIM_PX = 14
_PAPER, _INK, _EMPTY = (250, 250, 247), (35, 35, 35), (225, 225, 220)


def draw_contact_sheet(pictures: Sequence[tuple[Path | None, tuple[str, str]]], out: Path) -> Path:
    """`pictures`: a file (None where there is none) and two lines below it, in the order of the roll. Writes a new PNG.

    Raises BadInput where it cannot be written, or the name is taken.
    """
    if out.exists():
        raise BadInput(f"{out} exists already and stays as it is: choose another folder.")
    thumbs = [None if path is None else _thumb(path) for path, _ in pictures]
    high = max((thumb.height for thumb in thumbs if thumb is not None), default=_SIDE_PX * 2 // 3)
    cell_px = (_SIDE_PX + _RIM_PX, high + 2 * _LINE_PX + _RIM_PX)
    across = min(_ACROSS, len(pictures))
    down = math.ceil(len(pictures) / across)
    sheet = Image.new("RGB", (across * cell_px[0] + _RIM_PX, down * cell_px[1] + _RIM_PX), _PAPER)
    draw = ImageDraw.Draw(sheet)
    font = ImageFont.load_default(15)
    for index, (thumb, (_, lines)) in enumerate(zip(thumbs, pictures, strict=True)):
        x, y = (
            _RIM_PX + place * size
            for place, size in zip((index % across, index // across), cell_px, strict=True)
        )
        if thumb is None:
            draw.rectangle((x, y, x + _SIDE_PX - 1, y + high - 1), fill=_EMPTY)
        else:
            sheet.paste(thumb, (x + (_SIDE_PX - thumb.width) // 2, y))
        for row, text in enumerate(lines):
            draw.text((x, y + high + 3 + row * _LINE_PX), _fitted(text, font), fill=_INK, font=font)
    held = BytesIO()
    sheet.save(held, "PNG")
    write_outputs({out: held.getvalue()})
    return out


def _thumb(path: Path) -> Image.Image:
    pixels, _ = read_pixels(path)
    step = max(1, min(pixels.shape[:2]) // (2 * _SIDE_PX))
    small = pixels[::step, ::step]
    eight = small if small.dtype == np.uint8 else (small >> 8).astype(np.uint8)
    image = Image.fromarray(eight).convert("RGB")
    image.thumbnail((_SIDE_PX, _SIDE_PX))
    return image


def _fitted(text: str, font: ImageFont.FreeTypeFont | ImageFont.ImageFont) -> str:
    while text and font.getlength(text) > _SIDE_PX:
        text = text[:-2].rstrip(". ") + "."
    return text
