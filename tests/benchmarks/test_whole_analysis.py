"""A season's session, 100 000 pairs, is loaded and fully analysed while one waits; help appears at once."""

from __future__ import annotations

import random
import resource
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from coincide.rig.new import TEMPLATE
from coincide.session.lines import header_line, shot_line
from coincide.session.model import Plan
from tests.session.sessions import HEADER, pulse, record

PAIRS = 100_000
MOST_S = 2.0
MOST_MB = 600.0
HELP_MOST = 1.5

ANALYSE = """
import sys, time
from coincide.session.file import read_session
from coincide.timing.analysis import analyse
best = 1e9
for _ in range(3):
    begin = time.perf_counter()
    found = analyse(read_session(sys.argv[1]))
    best = min(best, time.perf_counter() - begin)
    assert found.measured.answered == int(sys.argv[2]) and found.suggestion is not None
# The peak of this program alone: what getrusage tells is that of the process it was forked from, too.
status = dict(line.split(":", 1) for line in open("/proc/self/status"))
print(best, int(status["VmHWM"].split()[0]) / 1024)
"""


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    chance = random.Random(7)
    path = tmp_path_factory.mktemp("season") / "session.jsonl"
    header = replace(HEADER, rig_toml=TEMPLATE, exposures=("1/60", "1/30"))
    with path.open("wb") as file:
        file.write(header_line(header))
        for shot in range(1, PAIRS + 1):
            edges = []
            for body, lag_s in (("a", 0.060), ("b", 0.080)):
                opened_s = 0.3 + chance.gauss(lag_s, 0.0007)
                edges += pulse(f"half_{body}", 0.0, 0.45)
                edges += pulse(f"full_{body}", 0.3, 0.45)
                edges += pulse(f"sync_{body}", opened_s + 0.003, opened_s + 0.0034)
                edges += pulse(f"sync_{body}", opened_s + 0.004, opened_s + 0.012)
                edges += pulse(f"gate_{body}1", opened_s, opened_s + 0.0156)
            file.write(shot_line(record(shot, edges, at_s=4.0 * shot, plan=Plan())))
    return path


@pytest.mark.benchmark
def test_a_hundred_thousand_pairs(season: Path) -> None:
    """Beside it, in the same run, what merely parsing the lines with the standard library takes."""
    ran = subprocess.run(
        [sys.executable, "-c", ANALYSE, str(season), str(PAIRS)], capture_output=True, text=True, check=True
    )
    seconds, megabytes = map(float, ran.stdout.split())
    import json

    begin = time.perf_counter()
    with season.open(encoding="utf-8") as file:
        lines = sum(1 for line in file if json.loads(line))
    reference = time.perf_counter() - begin
    print(
        f"\nload and analyse {PAIRS} pairs: {seconds:.2f} s, {megabytes:.0f} MB; "
        f"json.loads of the {lines} lines alone: {reference:.2f} s"
    )
    assert seconds < MOST_S
    assert megabytes < MOST_MB


@pytest.mark.benchmark
def test_help_appears_at_once() -> None:
    """Processor time of the child, the best of many runs: the clock on the wall counts what else runs."""

    def best_s(*command: str) -> float:
        took = []
        for _ in range(25):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            subprocess.run([sys.executable, *command], capture_output=True, check=True)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            took.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        return min(took)

    ours, reference = best_s("-m", "coincide", "--help"), best_s("-c", "import click")
    print(f"\ncoincide --help {1e3 * ours:.0f} ms, import click {1e3 * reference:.0f} ms")
    assert ours <= HELP_MOST * reference
