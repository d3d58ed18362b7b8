"""A frame log as long as ten years, beside Python's own reading of the same file."""

from __future__ import annotations

import csv
import re
import time
from pathlib import Path

import pytest

from coincide.errors import BadInput
from coincide.session.frames import Frame, read_frames, write_frames

ROWS = 150_000
# 1.5 s of processor time for reading, 0.3 of it the CSV itself, in November 2026.
TIMES_CSV = 15


@pytest.mark.benchmark
def test_a_frame_log_of_a_hundred_and_fifty_thousand_rows(tmp_path: Path) -> None:
    rows = [
        Frame(
            None,
            n,
            1 + n // 200,
            n % 200 * 20.0,
            "1/125",
            ("within", "out")[n % 2],
            1e-3,
            0.04,
            0.05,
            0,
            0,
            1e-3,
        )
        for n in range(ROWS)
    ]
    path = write_frames(tmp_path / "log.csv", rows)
    begun = time.process_time()
    with path.open(newline="", encoding="utf-8") as file:
        plain = len(list(csv.reader(file)))
    middle = time.process_time()
    read = read_frames(path)
    took_s, plain_s = time.process_time() - middle, middle - begun
    print(f"{ROWS} frames: {took_s:.2f} s, csv alone {plain_s:.2f} s")
    assert read == tuple(rows)
    assert plain == ROWS + 1
    assert took_s < TIMES_CSV * plain_s
    lines = path.read_bytes().splitlines(keepends=True)
    lines[140_000] = lines[140_000].replace(b"within", b"withim").replace(b"out", b"ouch")
    path.write_bytes(b"".join(lines))
    with pytest.raises(BadInput, match=re.escape("line 140001: verdict")):
        read_frames(path)
