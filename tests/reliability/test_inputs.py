"""Files and lines from strangers: a result or a sentence, never a traceback, a hang or a great deal of memory."""

from __future__ import annotations

import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reliability.damage import damaged
from tests.reliability.readers import READERS

EXAMPLES = {"session": 60, "calibration": 60, "sound": 60, "capture, CSV": 60}
# Half an hour together, on two cores.
RUNS = {"session": 40_000, "calibration": 60_000, "image": 20_000, "sound": 20_000, "capture, CSV": 60_000}
RUNS |= {"capture, VCD": 100_000, "bench record": 60_000, "scan result": 200_000}


@pytest.mark.parametrize("name", READERS)
def test_a_right_one_is_read(name: str) -> None:
    for sample in READERS[name].samples():
        READERS[name].read(sample)


@pytest.mark.parametrize("name", READERS)
def test_damaged_or_senseless_it_is_read_or_refused_in_a_sentence(name: str) -> None:
    reader = READERS[name]
    samples = st.sampled_from(reader.samples())
    damage = st.builds(
        lambda sample, seed, edits: damaged(sample, Random(seed), edits), samples, SEEDS, st.integers(1, 5)
    )

    @settings(max_examples=EXAMPLES.get(name, 150), deadline=None)
    @given(st.one_of(damage, damage, damage, st.binary(max_size=300)))
    def read(content: bytes) -> None:
        reader.read(content)

    read()


SEEDS = st.integers(0, 2**32)


@pytest.mark.soak
@pytest.mark.skipif(
    importlib.util.find_spec("atheris") is None, reason="no atheris here: pip install 'coincide[fuzz]'"
)
@pytest.mark.parametrize("name", READERS)
def test_fuzzed_with_coverage_to_guide_it(tmp_path: Path, name: str) -> None:
    corpus = tmp_path / "corpus"
    corpus.mkdir()
    for place, sample in enumerate(READERS[name].samples()):
        (corpus / str(place)).write_bytes(sample)
    runs = RUNS.get(name, 300_000)
    limits = ["-timeout=20", "-rss_limit_mb=1500", "-print_final_stats=1", f"-artifact_prefix={tmp_path}/"]
    fuzzed = subprocess.run(
        [sys.executable, "-m", "tests.reliability.fuzz", name, str(corpus), f"-runs={runs}", *limits],
        cwd=Path(__file__).parents[2],
        env=os.environ | {"TMPDIR": str(tmp_path)},
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    assert fuzzed.returncode == 0, fuzzed.stdout[-3000:] + fuzzed.stderr[-6000:]
    stats = dict(re.findall(r"stat::(\w+):\s+(\d+)", fuzzed.stderr))
    covered = re.findall(r"cov: (\d+)", fuzzed.stderr)[-1]
    assert int(stats["number_of_executed_units"]) >= runs
    print(f"{name}: {runs} tries, {covered} places reached, at most {stats['peak_rss_mb']} MiB")
