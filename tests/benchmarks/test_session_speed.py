"""A long session is read and made into pairs fast, and faster than a plain loop does it."""

from __future__ import annotations

import json
import math
import random
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from coincide.session.lines import header_line, shot_line
from coincide.session.model import Plan
from tests.session.sessions import HEADER, pulse, record

PAIRS = 100_000
MOST_S = 1.1
MOST_MB = 450.0

MEASURE = """
import sys, time
from coincide.session.file import read_session
from coincide.session.shots import shots_from_session
best = 1e9
for _ in range(3):
    begin = time.perf_counter()
    shots = shots_from_session(read_session(sys.argv[1]))
    best = min(best, time.perf_counter() - begin)
    assert len(shots.number) == int(sys.argv[2])
# The peak of this program alone: what getrusage tells is that of the process it was forked from, too.
status = dict(line.split(":", 1) for line in open("/proc/self/status"))
print(best, int(status["VmHWM"].split()[0]) / 1024)
"""


@pytest.fixture(scope="module")
def long_session(tmp_path_factory: pytest.TempPathFactory) -> Path:
    chance = random.Random(4)
    path = tmp_path_factory.mktemp("long") / "session.jsonl"
    plan = Plan(delay_a_ns=18_000_000)
    with path.open("wb") as file:
        file.write(header_line(HEADER))
        for shot in range(1, PAIRS + 1):
            edges = []
            for body, delay_s in (("a", 0.018), ("b", 0.0)):
                sync_s = 0.3 + delay_s + chance.gauss(0.06, 0.002)
                edges += pulse(f"half_{body}", 0.0, 0.45 + delay_s)
                edges += pulse(f"full_{body}", 0.3 + delay_s, 0.45 + delay_s)
                edges += pulse(f"sync_{body}", sync_s, sync_s + 0.0004)
                edges += pulse(f"sync_{body}", sync_s + 0.001, sync_s + 0.012)
                edges += pulse(f"gate_{body}1", sync_s - 0.004, sync_s + 0.004)
                edges += pulse(f"gate_{body}2", sync_s - 0.002, sync_s + 0.006)
            file.write(shot_line(record(shot, edges, at_s=2.0 * shot, plan=plan)))
    return path


def plain_reference(path: Path) -> list[tuple[float, float]]:
    """What a person would write first: json, and loops over edges that gather bounces into contacts."""
    pairs = []
    with path.open(encoding="utf-8") as file:
        header = json.loads(next(file))
        names = header["channels"]
        for line in file:
            shot = json.loads(line)
            contacts: dict[str, list[list[float]]] = {name: [] for name in names}
            edges = shot["edges"]
            for code, since in zip(edges[::2], edges[1::2], strict=True):
                at_s = (shot["start"] + since) / header["tick_hz"]
                of_channel = contacts[names[code >> 1]]
                if code & 1 and (not of_channel or at_s - of_channel[-1][1] > 0.006):
                    of_channel.append([at_s, math.nan])
                elif not code & 1 and of_channel:
                    of_channel[-1][1] = at_s
            full_s = {body: contacts[f"full_{body}"][0][0] for body in "ab"}
            sync_s = {
                body: next(
                    closed_s
                    for closed_s, open_s in contacts[f"sync_{body}"]
                    if 0.003 < closed_s - full_s[body] < 1.0 and open_s - closed_s > 0.0005
                )
                for body in "ab"
            }
            begin_s = min(full_s.values())
            pairs.append((sync_s["a"] - begin_s, sync_s["b"] - begin_s))
    return pairs


@pytest.mark.benchmark
def test_loading_and_pairing_a_long_session(long_session: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", MEASURE, str(long_session), str(PAIRS)],
        capture_output=True,
        text=True,
        check=True,
    )
    ours_s, peak_mb = map(float, done.stdout.split())
    begin = time.perf_counter()
    reference = plain_reference(long_session)
    plain_s = time.perf_counter() - begin
    megabytes = long_session.stat().st_size / 1e6
    print(
        f"\n{PAIRS} pairs, {megabytes:.0f} MB: {ours_s:.2f} s, {peak_mb:.0f} MB; plain Python {plain_s:.2f} s"
    )

    from coincide.session.file import read_session
    from coincide.session.shots import shots_from_session

    np.testing.assert_allclose(shots_from_session(read_session(long_session)).sync_s, reference, atol=1e-6)
    assert ours_s < MOST_S
    assert peak_mb < MOST_MB
    assert ours_s < plain_s / 1.5
