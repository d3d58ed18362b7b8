"""Readers of what came later: scan results, tables of a roll, bench records, instruments' captures, sound."""

from __future__ import annotations

import io
import json
from functools import cache
from pathlib import Path

import numpy as np

from coincide.bench.check.record import BenchRecord, Loop, ZeroResult, read_record, record_text
from coincide.ghost.roll import read_roll
from coincide.ghost.scan_result import regions_of
from coincide.ghost.things import thing_in_region
from coincide.recording import files
from coincide.recording.capture import channel_map
from coincide.rig.file import parse_rig
from coincide.rig.new import TEMPLATE
from coincide.scans.files.scan import read_scan
from coincide_wiring.netlist import Build, digest
from tests.reliability.reading import Reader, file_of, refused_in_a_sentence

CHANNELS = channel_map("D0=gate_a1 !D1=gate_b1")


def read_a_scan_result(content: bytes) -> None:
    path = file_of("scans.json", content)
    with refused_in_a_sentence():
        found = regions_of(path)
        for number in found:
            with refused_in_a_sentence():
                thing = thing_in_region(
                    parse_rig(TEMPLATE), found, str(number), "3 m/s right", "20 m", "set right"
                )
                assert abs(thing.apart_m) < 1e5


def scan_result_samples() -> tuple[bytes, ...]:
    region = {
        "number": 1,
        "centre_px": [812.5, 400.0],
        "by_px": [9.25, -0.5],
        "u_px": [0.2, 0.3],
        "clear": 1.0,
    }
    found = {
        "format": "coincide-scans-result",
        "version": 1,
        "a": {"name": "a.tif", "size_px": [1600, 1067], "pitch_um": 6.35},
        "registration": {"mirrored": True, "turn_deg": 0.4},
        "regions": [region, region | {"number": 2, "by_px": [0.0, 0.0]}],
    }
    return (json.dumps(found).encode(), json.dumps(found | {"a": found["a"] | {"pitch_um": None}}).encode())  # type: ignore[operator]


def read_a_roll_table(content: bytes) -> None:
    path = file_of("roll-table.csv", content)
    with refused_in_a_sentence():
        for line in read_roll(path):
            assert line.frame is None or line.frame < 10**9
            with refused_in_a_sentence():
                read_scan(line.a)


def roll_table_samples() -> tuple[bytes, ...]:
    return (b"a,b,frame\na-01.tif,b-01.tif,1\na-02.tif,b-02.tif,2\n", b"\xef\xbb\xbfA, B\nx.png,y.png\n")


def read_a_bench_record(content: bytes) -> None:
    path = file_of("bench.toml", content)
    with refused_in_a_sentence():
        record_text(read_record(path))


def bench_record_samples() -> tuple[bytes, ...]:
    build = Build()
    loop = Loop("full_a", "sync_a", 1e-5, 1e-7, 20)
    zero = ZeroResult((loop,), 1e-6, 1e-7, (1e-5, 1e-5), (1e-7, 1e-7))
    return (
        record_text(BenchRecord("2031-05-04T10:00:00", "uid", "1", digest(build), build, (), zero)).encode(),
    )


def read_a_vcd(content: bytes) -> None:
    _read_capture(file_of("c.vcd", content))


def read_a_csv(content: bytes) -> None:
    _read_capture(file_of("c.csv", content))


def _read_capture(path: Path) -> None:
    with refused_in_a_sentence():
        found = files.read_captures([path], CHANNELS, None)
        for edges in found.channels.values():
            assert len(edges.at_s) == len(edges.level)


def vcd_samples() -> tuple[bytes, ...]:
    head = b"$timescale 10 ns $end\n$scope module top $end\n$var wire 1 ! D0 $end\n$var wire 1 % D1 $end\n"
    return (
        head
        + b"$upscope $end\n$enddefinitions $end\n#0\n0!\n1%\n#1000000\n1!\n#1200000\n0%\n#2600000\n0!\n1%\n",
    )


def csv_samples() -> tuple[bytes, ...]:
    plain = [
        f"{k * 1e-4:.6f},{int(k in range(100, 260))},{int(k not in range(120, 280))}" for k in range(400)
    ]
    volts = [
        f"{k * 1e-4:.6f};{3.3 * (k > 90):.2f};{3.3 * (k < 50):.2f}".replace(".", ",") for k in range(120)
    ]
    return (
        "\n".join(["Time [s],D0,D1", *plain]).encode(),
        "\n".join(["Zeit;D0;D1", "s;V;V", *volts]).encode(),
    )


def read_a_sound(content: bytes) -> None:
    for name in ("s.wav", "s.m4a"):
        path = file_of(name, content)
        with refused_in_a_sentence():
            found = 0
            for block in files.blocks(files.look(path)):
                assert block.shape[1] == 2
                found += len(block)
                assert found < 1 << 24, "it goes on for ever"


@cache
def sound_samples() -> tuple[bytes, ...]:
    import soundfile

    samples = np.random.default_rng(1).normal(0, 0.1, (3000, 2)).astype(np.float32)
    made = []
    for form, kind in (("WAV", "PCM_16"), ("FLAC", "PCM_24"), ("WAV", "FLOAT"), ("AIFF", "PCM_16")):
        stream = io.BytesIO()
        soundfile.write(stream, samples, 48_000, format=form, subtype=kind)
        made.append(stream.getvalue())
    return tuple(made)


MORE = {
    "scan result": Reader(read_a_scan_result, scan_result_samples),
    "roll table": Reader(read_a_roll_table, roll_table_samples),
    "bench record": Reader(read_a_bench_record, bench_record_samples),
    "capture, VCD": Reader(read_a_vcd, vcd_samples),
    "capture, CSV": Reader(read_a_csv, csv_samples),
    "sound": Reader(read_a_sound, sound_samples),
}
