"""Everything that reads a stranger's bytes, one function each, with samples of what it reads.

A reader takes bytes, does with them what the commands do, and returns; the only failure it may meet is one the
library means for a person, in a sentence.
"""

from __future__ import annotations

import io
import os
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from coincide.box.cable.answers import identity_from, status_from
from coincide.report.json.series import session_json
from coincide.report.words.frames import frame_rows
from coincide.report.words.series import body_rows, lateness, noticed, what_to_expect
from coincide.rig.calibration import (
    calibration_toml,
    calibrations_beside,
    newest_for,
    parse_calibration,
    stale_reasons,
)
from coincide.rig.check import doubts
from coincide.rig.file import load_rig, parse_rig
from coincide.rig.new import TEMPLATE
from coincide.rig.optics.tolerance import tolerance_s
from coincide.rig.plan import rig_plan
from coincide.scans.files.scan import read_scan
from coincide.session.file import SessionWriter, read_session
from coincide.session.frames import Frame, joined_to_roll, read_frames, write_frames
from coincide.session.lines import header_line
from coincide.session.unfinished import Unfinished
from coincide.timing.analysis import analyse
from coincide_firmware.app.wire import LineReader, Refused, crc32_hex, decode_line, encode
from tests.box.sinks import run
from tests.reliability.more_readers import MORE
from tests.reliability.reading import Reader, file_of, folder, refused_in_a_sentence
from tests.rig.test_calibration import CALIBRATION
from tests.session.sessions import HEADER

MOST_BYTES = 1 << 16


# -- sessions ----------------------------------------------------------------------------------------------


def read_a_session(content: bytes) -> None:
    path = file_of("s.jsonl", content)
    with refused_in_a_sentence():
        session = read_session(path)
        rows = len(session.shot)
        assert len(session.lost) == len(session.plan_ns) == rows
        assert len(session.edges.tick) <= len(content)
        analysis = analyse(session)
        session_json(analysis, path)
        body_rows(analysis.measured)
        lateness(analysis)
        noticed(analysis)
        if analysis.suggestion is not None:
            what_to_expect(analysis.suggestion)
    with refused_in_a_sentence():
        SessionWriter.resume(path, HEADER).close()


@cache
def session_samples() -> tuple[bytes, ...]:
    found = []
    for world, pairs in (("steady", 9), ("bouncing contacts", 4), ("mirror slap", 3)):
        ran = run(world, pairs)
        path = folder() / f"{world}.jsonl"
        header = replace(ran.session.header, rig_toml=TEMPLATE, exposures=("1/60", "1/30"))
        with SessionWriter(path, header) as to:
            for record in ran.session.records:
                to.append(record)
            for remark in ran.session.remarks:
                to.remark(remark)
        found.append(path.read_bytes())
    return (*found, header_line(HEADER))


# -- rigs and calibrations ---------------------------------------------------------------------------------


def read_a_rig(content: bytes) -> None:
    path = file_of("rig.toml", content)
    with refused_in_a_sentence():
        rig = load_rig(path)
        doubts(rig)
        rig_plan(rig)
        tolerance_s(rig)


def rig_samples() -> tuple[bytes, ...]:
    page = (Path(__file__).parents[2] / "docs" / "formats.md").read_text("utf-8")
    small = page[page.index('```toml\nformat = "coincide-rig"') + 8 :]
    return TEMPLATE.encode(), small[: small.index("```")].encode()


def read_a_calibration(content: bytes) -> None:
    rig = parse_rig(TEMPLATE)
    file_of("fen-calibration-x.toml", content)
    found, complaints = calibrations_beside(folder() / f"{os.getpid()}-fen.toml")
    assert len(found) + len(complaints) == 1
    for one in found:
        stale_reasons(one.calibration, rig, "e6614c")
        with refused_in_a_sentence():
            parse_calibration(calibration_toml(one.calibration))
    newest_for(found, rig)


def calibration_samples() -> tuple[bytes, ...]:
    return (calibration_toml(CALIBRATION).encode(),)


# -- frame logs --------------------------------------------------------------------------------------------


def read_a_frame_log(content: bytes) -> None:
    path = file_of("roll.csv", content)
    with refused_in_a_sentence():
        frames = read_frames(path)
        frame_rows(frames)
        if frames:
            joined_to_roll(frames, frames[0].entry)


def frame_log_samples() -> tuple[bytes, ...]:
    nan = float("nan")
    frames = [
        Frame(1, 0, 3, 12.5, "1/60+1/30", "within", -0.0002, 0.061, 0.078, 0.018, 0.0, 0.003),
        Frame(None, 1, 3, 99.0, "", "damaged", nan, nan, nan, nan, nan, nan),
    ]
    path = folder() / "sample.csv"
    path.unlink(missing_ok=True)
    return (write_frames(path, frames).read_bytes(),)


# -- the wire ----------------------------------------------------------------------------------------------


def read_the_wire(content: bytes) -> None:
    reader = LineReader()
    half = len(content) // 2
    found = [*reader.feed(content[:half]), *reader.feed(content[half:])]
    assert len(found) <= content.count(b"\n")
    for record in found:
        assert isinstance(record, dict | Refused)
    # With the checksum made right, as a stranger who knows it would.
    for line in content.split(b"\n")[:4]:
        record = decode_line(line + b"\t" + crc32_hex(line))
        if isinstance(record, dict):
            for understand in (identity_from, status_from):
                with refused_in_a_sentence():
                    understand(record)


@cache
def wire_samples() -> tuple[bytes, ...]:
    client = run("steady", 1).client
    status = client.talk.ask("status")
    identity = client.identity.raw
    return (
        encode({"re": 1, "ok": identity}),
        encode(status)[:-10],
        encode(identity)[:-10],
        encode({"id": 1, "do": "arm"}),
    )


# -- images ------------------------------------------------------------------------------------------------


def read_an_image(content: bytes) -> None:
    with refused_in_a_sentence():
        scan = read_scan(file_of("scan", content))
        assert scan.grey.dtype == np.float32
        assert scan.grey.ndim == 2


@cache
def image_samples() -> tuple[bytes, ...]:
    import tifffile
    from PIL import Image

    rng = np.random.default_rng(1)
    grey = rng.integers(0, 255, (70, 66), np.uint8)
    colour = np.repeat(grey[..., None], 3, axis=2)
    found = []
    for form, pixels in (("png", grey), ("png", colour), ("jpeg", grey), ("jpeg", colour)):
        stream = io.BytesIO()
        Image.fromarray(pixels).save(stream, form, dpi=(4000, 4000))
        found.append(stream.getvalue())
    for pixels in (colour, grey.astype(np.uint16) << 8):
        for compression in (None, "zlib", "lzw", "packbits"):
            stream = io.BytesIO()
            photometric = "rgb" if pixels.ndim == 3 else "minisblack"
            tifffile.imwrite(
                stream, pixels, photometric=photometric, compression=compression, resolution=(4000, 4000)
            )
            found.append(stream.getvalue())
    return tuple(found)


# -- notes -------------------------------------------------------------------------------------------------


def read_a_note(content: bytes) -> None:
    file_of("x.unfinished.json", content)
    here = folder()
    left = Unfinished(here, f"{os.getpid()}-x").read(2)
    if left is not None:
        for name in left.sessions:
            assert (here / name).parent == here
            assert (here / name).resolve().parent == here.resolve()


def note_samples() -> tuple[bytes, ...]:
    return (b'{"pairs": [40, 30], "sessions": ["20310504-061200-1-60-series.jsonl", "x-verify.jsonl"]}',)


READERS = {
    "session": Reader(read_a_session, session_samples),
    "rig": Reader(read_a_rig, rig_samples),
    "calibration": Reader(read_a_calibration, calibration_samples),
    "frame log": Reader(read_a_frame_log, frame_log_samples),
    "wire": Reader(read_the_wire, wire_samples),
    "image": Reader(read_an_image, image_samples),
    "note": Reader(read_a_note, note_samples),
    **MORE,
}
