"""A PNG looked over before it is decoded: whether its pixels are all there, and whether there is anything in them.

Nothing of it is held: the compressed stream (ISO/IEC 15948; RFC 1950) is read through piece by piece.
"""

from __future__ import annotations

import zlib
from pathlib import Path
from typing import BinaryIO

from coincide.errors import BadInput

_SIGNATURE_BYTES = 8
_PIECE_BYTES = 1 << 14  # a thousand times as much comes out of it at most
_SAMPLES = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}  # by colour type (11.2.2)
LARGE_BYTES = 64 << 20  # of pixels; below this it costs little to decode and see
EXIF_MOST_BYTES = 1 << 16
EMPTY = 100  # times smaller: grain alone keeps a scan from a tenth of that


def depth(path: Path) -> int:
    """Bits per sample, from the first chunk (11.2.2)."""
    head = _head(path)
    return head[24] if len(head) > 24 else 8


def look_over(path: Path) -> bytes | None:
    """What a chunk 'eXIf' holds, None without one. Raises BadInput where a large picture is compressed so well that
    nothing can be on it, and OSError where the stream ends before the pixels do."""
    head = _head(path)
    width, height, bits = int.from_bytes(head[16:20], "big"), int.from_bytes(head[20:24], "big"), head[24]
    wanted = height * ((width * bits * _SAMPLES.get(head[25], 1) + 7) // 8)
    packed_bytes = path.stat().st_size
    if wanted > LARGE_BYTES and packed_bytes * EMPTY < wanted:
        raise BadInput(
            f"{path}: its {wanted / 1e6:.0f} MB of pixels are packed into {packed_bytes / 1e6:.2f} MB: they are cut "
            "short, or nothing is on it but one tone. Give the whole scan."
        )
    packed, found, exif = zlib.decompressobj(), 0, None
    with path.open("rb") as stream:
        stream.seek(_SIGNATURE_BYTES)
        while True:
            chunk = stream.read(8)
            if len(chunk) < 8 or chunk[4:] == b"IEND":
                break
            length = int.from_bytes(chunk[:4], "big")
            if chunk[4:] == b"IDAT":
                found += _inflated(packed, stream, length)
            elif chunk[4:] == b"eXIf" and length <= EXIF_MOST_BYTES:
                exif = stream.read(length)
            else:
                stream.seek(length, 1)
            stream.seek(4, 1)  # the chunk's checksum: the decoder's
    if found < wanted:
        raise OSError("the pixels are cut short")
    return exif


def _head(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(26)


def _inflated(packed: zlib._Decompress, stream: BinaryIO, length: int) -> int:
    found = 0
    while length > 0 and not packed.eof:
        piece = stream.read(min(length, _PIECE_BYTES))
        if not piece:
            break
        length -= len(piece)
        try:
            found += len(packed.decompress(piece))
        except zlib.error as error:
            raise OSError("the pixels are damaged") from error
    stream.seek(length, 1)
    return found
