"""Files that are wrong, cut short or hostile are clear errors; captures of instruments come back as they were."""

from __future__ import annotations

import struct
from base64 import b64decode
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
import soundfile
from vcd.writer import VCDWriter

from coincide.bench.heard import Wish
from coincide.bench.recording import record
from coincide.errors import BadInput
from coincide.recording.capture import channel_map, from_csv, from_vcd
from coincide.recording.files import blocks, look
from coincide.rehearsal.evening import Evening
from coincide.rehearsal.light import LightScene, light_evening
from coincide.session.file import read_session
from coincide.timing.analysis import analyse
from tests.recording.worlds import rig_text


def header(frames: int, channels: int = 2, rate: int = 48_000) -> bytes:
    size = min(frames * channels * 2, 2**32 - 1)
    body = struct.pack("<HHIIHH", 1, channels, rate, rate * channels * 2, channels * 2, 16)
    return (
        b"RIFF"
        + struct.pack("<I", min(36 + size, 2**32 - 1))
        + b"WAVEfmt "
        + struct.pack("<I", 16)
        + body
        + b"data"
        + struct.pack("<I", size)
    )


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "no sound file"),
        (b"RIFF", "no sound file"),
        (header(0), "no sound"),
        (header(2**31 - 1), "no sound"),
        (header(100, channels=0), "no sound file"),
        (header(100, channels=1) + bytes(200), "one channel"),
        (header(100, channels=3) + bytes(600), "3 channels"),
        (header(100, rate=8000) + bytes(400), "44100"),
        (b"\x89PNG" + bytes(500), "no sound file"),
    ],
)
def test_hostile_sound_is_one_sentence(content: bytes, word: str, tmp_path: Path) -> None:
    path = tmp_path / "x.wav"
    path.write_bytes(content)
    with pytest.raises(BadInput, match=word):
        record([path], rig_text("1/60"), Wish("light"), tmp_path / "x.jsonl")
    assert not (tmp_path / "x.jsonl").exists()


def test_a_telephones_sound_of_a_codec_that_nobody_knows_is_one_sentence(tmp_path: Path) -> None:
    """As the fuzzer met it: a WAV of an odd codec, with a telephone's ending."""
    pytest.importorskip("av")
    path = tmp_path / "x.m4a"
    path.write_bytes(
        b64decode("UklGRgQvAABXQVZFZm10IBAAAAAJAAIAgLsAAADuAgAEABAAZGF0YeAEhAo6BFHvlgu2BSD5cAeqe804")
    )
    with pytest.raises(BadInput, match="codec nobody knows"):
        look(path)


@lru_cache
def short_evening() -> Evening:
    return light_evening(LightScene(pairs=4, every_s=1.0, exposure_s=(1 / 64, 1 / 64), low_cut_hz=40.0), 9)


CUT = [("wav", 0.02), ("mp3", 0.02), *((ending, 0.75) for ending in ("wav", "flac", "ogg", "mp3", "aiff"))]


@pytest.mark.parametrize(("ending", "part"), CUT)
def test_a_file_cut_short_is_told_or_read_as_far_as_it_goes(ending: str, part: float, tmp_path: Path) -> None:
    """Of any coder; never a traceback, never a session without a word."""
    evening = short_evening()
    path, out = tmp_path / f"e.{ending}", tmp_path / "e.jsonl"
    soundfile.write(str(path), evening.samples, evening.rate_hz)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(part * len(whole))])
    if part < 0.1 or ending == "flac":
        with pytest.raises(BadInput, match=r".{20}"):
            record([path], rig_text("1/60"), Wish("light"), out)
        assert not out.exists()
        return
    account = record([path], rig_text("1/60"), Wish("light"), out)
    assert 0 < account.pairs < 4
    assert account.length_s < len(evening.samples) / evening.rate_hz
    # Ogg and MP3 are streams that may end anywhere; the others say how long they are.
    assert ending in ("ogg", "mp3") or any("cut short" in one for one in account.sentences)


def test_samples_that_are_no_numbers_are_silence(tmp_path: Path) -> None:
    path = tmp_path / "nan.wav"
    soundfile.write(str(path), np.full((48_000, 2), np.nan, np.float32), 48_000, subtype="FLOAT")
    assert len(next(blocks(look(path))))
    with pytest.raises(BadInput, match="Nothing happens"):
        record([path], rig_text("1/60"), Wish("light"), tmp_path / "x.jsonl")


def test_a_vcd_comes_back_as_it_was_written(tmp_path: Path) -> None:
    path = tmp_path / "c.vcd"
    with path.open("w") as file, VCDWriter(file, timescale="1 us", date="today") as writer:
        a, b = (writer.register_var("probe", name, "wire", size=1, init=0) for name in ("D0", "D1"))
        for pair in range(6):
            start = 1_000_000 * (pair + 1)
            for at, variable, level in sorted(
                ((start, a, 1), (start + 15_600, a, 0), (start + 6_000, b, 0), (start + 21_600, b, 1)),
                key=lambda one: one[0],
            ):
                writer.change(variable, at, level)
    with path.open("rb") as raw:
        found = from_vcd(raw, channel_map("D0=gate_a1 !D1=gate_b1"), "c.vcd")
    assert found.channels["gate_a1"].at_s[:2].tolist() == pytest.approx([1.0, 1.0156])
    assert found.channels["gate_a1"].level.tolist() == [1, 0] * 6


def test_x_and_z_end_a_level() -> None:
    head = b"$timescale 1us $end\n$var wire 1 ! D0 $end\n$enddefinitions $end\n"
    text = head + b"#0\n0!\n#10\n1!\n#20\nx!\n#30\n1!\n#40\nz!\n"
    found = from_vcd(iter([text]), channel_map("D0=gate_a1"), "x.vcd").channels["gate_a1"]
    assert found.level.tolist() == [1, 0, 1, 0]
    assert (found.at_s * 1e6).tolist() == pytest.approx([10, 20, 30, 40])


@pytest.mark.parametrize("style", ["plain", "european", "units", "one bit"])
def test_csv_of_many_instruments(style: str, tmp_path: Path) -> None:
    time_s = np.arange(-0.01, 0.06, 10e-6)
    waves = [2.0 * ((time_s > at) & (time_s < at + 0.0156)) + 0.1 for at in (0.0, 0.006)]
    if style == "one bit":
        waves = [np.round(one / 2.1) for one in waves]
    rows = []
    for at, *volts in zip(time_s, *waves, strict=True):
        if style == "european":
            rows.append(";".join(f"{one:.6f}".replace(".", ",") for one in (at, *volts)))
        else:
            scale = 1e3 if style == "units" else 1.0
            rows.append(",".join(f"{one:.6f}" for one in (at * scale, *volts)))
    titles = {"european": ["Zeit;CH1;CH2"], "units": ["Time,CH1,CH2", "(ms),(V),(V)"]}.get(
        style, ["Time (s),CH1,CH2"]
    )
    found = from_csv(
        [*(one + "\n" for one in titles), *(one + "\n" for one in rows)],
        channel_map("CH1=gate_a1 CH2=gate_b1"),
        "x",
    )
    assert found.channels["gate_a1"].at_s.tolist() == pytest.approx([0.0, 0.0156], abs=11e-6)
    assert found.channels["gate_b1"].at_s.tolist() == pytest.approx([0.006, 0.0216], abs=11e-6)
    paths = []
    for trigger in range(6):
        path = tmp_path / f"t{trigger}.csv"
        path.write_text("\n".join([*titles, *rows]) + "\n", encoding="utf-8")
        paths.append(path)
    account = record(
        paths, rig_text("1/60"), Wish("instrument", "CH1=gate_a1 CH2=gate_b1"), tmp_path / "t.jsonl"
    )
    assert account.pairs == 6
    analysis = analyse(read_session(tmp_path / "t.jsonl"))
    assert float(np.nanmean(analysis.measured.skew_s)) == pytest.approx(0.006, abs=15e-6)


@pytest.mark.parametrize(
    "text", ["", "time,a\n", "a,b\nc,d\n", "0,1\n1,nan\n2,0\n3,1\n4,1\n", "0,1\n0,1\n0,1\n0,0\n1,1\n"]
)
def test_csv_that_is_none(text: str) -> None:
    with pytest.raises(BadInput):
        from_csv(text.splitlines(keepends=True), channel_map("1=gate_a1"), "x.csv")


@pytest.mark.parametrize("text", ["", "D0", "D0=nothing", "D0=gate_a1 D1=gate_a1"])
def test_a_channel_map_that_is_none(text: str) -> None:
    with pytest.raises(BadInput, match="--channels"):
        channel_map(text)
