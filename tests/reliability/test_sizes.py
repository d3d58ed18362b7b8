"""Sizes that a file claims are bounded before anything is allocated for them."""

from __future__ import annotations

import io
import os
import struct
import subprocess
import sys
import textwrap
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

from coincide.errors import BadInput
from coincide.rig.file import LARGEST_FILE_BYTES, load_rig
from coincide.scans.files import scan as scan_file
from coincide.scans.files.scan import MOST_PIXELS, read_scan
from coincide.session import file as session_file
from coincide.session.file import read_session
from coincide.session.frames import LONGEST_FILE_BYTES, read_frames
from coincide.session.lines import header_line
from coincide_firmware.app.wire import LineReader
from tests.session.sessions import HEADER

SIDE = 60_000  # 3600 megapixels, in a file of some hundred bytes


def one_tone(length: int) -> bytes:
    """So many zero bytes, packed, without ever holding them."""
    packing = zlib.compressobj(1)
    piece = bytes(1 << 20)
    return b"".join([*(packing.compress(piece) for _ in range(length >> 20)), packing.flush()])


def png(width: int, height: int, bits: int = 8, colour: int = 0, pixels: bytes | None = None) -> bytes:
    """A PNG that claims this size, with a row of pixels in it (ISO/IEC 15948), or `pixels`."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, bits, colour, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", header)
        + chunk(b"IDAT", zlib.compress(bytes(100)) if pixels is None else pixels)
        + chunk(b"IEND", b"")
    )


def jpeg(width: int, height: int) -> bytes:
    """A small JPEG whose frame header claims this size (ITU-T T.81, B.2.2)."""
    from PIL import Image

    stream = io.BytesIO()
    Image.new("L", (64, 64)).save(stream, "jpeg")
    content = bytearray(stream.getvalue())
    at = content.index(b"\xff\xc0")
    content[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(content)


def tiff(width: int, height: int, *, next_at: int = 0, **tags: int) -> bytes:
    """A TIFF that claims this size, without pixels to speak of; its next image is at `next_at` (TIFF 6.0)."""
    entries = {256: width, 257: height, 258: 8, 259: 1, 262: 1, 273: 8, 277: 1, 278: height, 279: 100}
    entries |= {int(tag.removeprefix("t")): value for tag, value in tags.items()}
    body = bytes(100)
    table = struct.pack("<H", len(entries))
    for tag in sorted(entries):
        table += struct.pack("<HHII", tag, 4, 1, entries[tag])
    return b"II*\0" + struct.pack("<I", 8 + len(body)) + body + table + struct.pack("<I", next_at)


BOMBS: dict[str, Callable[[], bytes]] = {
    "png": lambda: png(SIDE, SIDE),
    "png, 16 bit": lambda: png(SIDE, SIDE, 16, 2),
    "png, one row": lambda: png(2**31 - 1, 1),
    "png, no size": lambda: png(0, 0),
    "png that says little and holds nothing": lambda: png(12_000, 12_000),
    "png of 158 megapixels, 16 bit, of which there are few": lambda: png(
        15_800, 10_000, 16, 2, one_tone(300 << 20)
    ),
    "png of 158 megapixels of one tone": lambda: png(15_800, 10_000, 8, 0, one_tone(160 << 20)),
    "jpeg": lambda: jpeg(65_500, 65_500),
    "tiff": lambda: tiff(SIDE, SIDE),
    "tiff, as large as can be said": lambda: tiff(2**32 - 1, 2**32 - 1),
    "tiff of many samples": lambda: tiff(8000, 8000, t277=60_000),
    "tiff of many layers": lambda: tiff(8000, 8000, t32997=60_000),
    "tiff of large tiles": lambda: tiff(8000, 8000, t322=2**31, t323=2**31, t324=8, t325=100),
    "tiff that goes on with itself for ever": lambda: tiff(8000, 8000, next_at=108),
    "tiff whose pixels are missing": lambda: tiff(12_000, 12_000),
}


@pytest.mark.parametrize("name", BOMBS)
def test_an_image_that_claims_much_is_refused_before_it_costs_memory(tmp_path: Path, name: str) -> None:
    path = tmp_path / "bomb"
    path.write_bytes(BOMBS[name]())
    with pytest.raises(BadInput) as refusal:
        read_scan(path)
    said = str(refusal.value)
    assert said.startswith(str(path))
    assert said.endswith(".")
    assert "memory" not in said


def test_the_bound_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One pixel more than the most is refused by its header alone: the decoder is never asked."""
    assert MOST_PIXELS == 160_000_000
    asked: list[object] = []
    monkeypatch.setattr(scan_file, "to_grey", asked.append)
    path = tmp_path / "a"
    for content in (png(16_001, 10_000), tiff(16_001, 10_000)):
        path.write_bytes(content)
        with pytest.raises(BadInput, match="at most 160 are read"):
            read_scan(path)
    assert asked == []


BOUNDED = textwrap.dedent(
    """
    import sys
    from pathlib import Path
    from coincide.errors import BadInput
    import coincide.scans.files.scan, coincide.session.file, coincide.rig.file, coincide.session.frames
    import tifffile, PIL.Image, PIL.PngImagePlugin, PIL.JpegImagePlugin, imagecodecs, coincide.units
    reader = {"scan": coincide.scans.files.scan.read_scan, "session": coincide.session.file.read_session,
              "rig": coincide.rig.file.load_rig, "frames": coincide.session.frames.read_frames}
    def peak_kib():
        # Of this program alone: what getrusage tells is that of the process it was forked from, too.
        status = dict(line.split(":", 1) for line in open("/proc/self/status"))
        return int(status["VmHWM"].split()[0])
    before = peak_kib()
    for line in sys.stdin.read().splitlines():
        kind, path = line.split(" ", 1)
        try:
            reader[kind](Path(path))
        except BadInput as refusal:
            print(str(refusal)[:200])
        else:
            print("read", path)
    print(peak_kib() - before)
    """
)


@pytest.mark.skipif(
    not Path("/proc/self/status").exists(),
    reason="this system does not say how much memory was used at most",
)
def test_all_of_them_together_take_little_memory(tmp_path: Path) -> None:
    """Bombs, sparse files of gigabytes, and endless lines, read one after another by one process."""
    wanted = []
    for number, make in enumerate(BOMBS.values()):
        (tmp_path / f"{number}").write_bytes(make())
        wanted.append(f"scan {tmp_path / str(number)}")
    for kind, start in (("session", header_line(HEADER)), ("rig", b""), ("frames", b""), ("scan", b"II*\0")):
        path = tmp_path / kind
        path.write_bytes(start)
        os.truncate(path, 8 << 30)
        wanted.append(f"{kind} {path}")
    done = subprocess.run(
        [sys.executable, "-c", BOUNDED], input="\n".join(wanted), capture_output=True, text=True, check=True
    )
    *said, grown_kib = done.stdout.splitlines()
    assert len(said) == len(wanted)
    assert not [line for line in said if line.startswith("read")]
    assert int(grown_kib) < 120 << 10, f"{int(grown_kib) >> 10} MiB"


def test_a_session_file_too_large_to_be_one_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session_file, "LARGEST_FILE_BYTES", 100_000)
    path = tmp_path / "s.jsonl"
    line = b'{"remark":"x","at":"","say":"' + b"y" * 1000 + b'"}\n'
    path.write_bytes(header_line(HEADER) + line * 120)
    with pytest.raises(BadInput, match="larger than any session"):
        read_session(path)
    path.write_bytes(header_line(HEADER) + line * 60)
    assert len(read_session(path).remarks) == 60


@pytest.mark.parametrize(
    ("read", "most"), [(load_rig, LARGEST_FILE_BYTES), (read_frames, LONGEST_FILE_BYTES)]
)
def test_a_text_larger_than_any_is_refused(tmp_path: Path, read: Callable[[Path], object], most: int) -> None:
    path = tmp_path / "large"
    path.write_bytes(b"# \n")
    os.truncate(path, most + 1)
    with pytest.raises(BadInput, match="larger than"):
        read(path)


def test_a_line_of_the_wire_that_never_ends_is_not_kept() -> None:
    reader = LineReader()
    for _ in range(2000):
        assert reader.feed(b"x" * 5000) == []
    (refused,) = reader.feed(b"\n")
    assert repr(refused) == "Refused('too long')"
