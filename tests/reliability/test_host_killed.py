"""SIGKILL at any moment of a series or a calibration: what the box was told is safe is on the disk, and it goes on."""

from __future__ import annotations

import itertools
import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from random import Random

import pytest

from coincide.rig.calibration import calibrations_beside
from coincide.session.file import read_session
from tests.reliability.hosts import Box, Faults, Host, box, rig_in, run_host, sessions_in, ticks_on_disk

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="this system has no SIGKILL")

PAIRS = 6
SERIES = ["series", "-n", str(PAIRS), "--yes", "--out", "s.jsonl"]
SERIES_REQUESTS = 140  # a series of so many pairs asks its port for more than this
SERIES_DISK_CALLS = 14  # header and pairs, each a write and an fsync
CALIBRATE = ["calibrate", "-n", "12", "--verify", "10", "--yes"]
CALIBRATE_REQUESTS = 480
CALIBRATE_DISK_CALLS = 60


@dataclass(frozen=True)
class Moment:
    """Where a host is killed: at the n-th request to its port, or at the n-th call that touches the disk."""

    request: int | None = None
    disk_call: int | None = None

    def run(self, words: list[str], folder: Path, its_box: Box) -> Host:
        faults = Faults(killed_at_disk_call=self.disk_call)
        return run_host(words, folder, its_box, killed_at_request=self.request, faults=faults)


def moments(seed: int, requests: int, disk_calls: int) -> Iterator[Moment]:
    """Random moments without end, half of either kind."""
    random = Random(f"killed {seed}")
    while True:
        if random.random() < 0.5:
            yield Moment(request=random.randint(1, requests))
        else:
            yield Moment(disk_call=random.randint(1, disk_calls))


def watch_over(its_box: Box, folder: Path) -> None:
    """At the very moment the host says to the box that a pair is safe, its edges have to be in a file."""

    def on_acknowledged(tick: int) -> None:
        on_disk = [path.read_bytes() for path in folder.rglob("*.jsonl")]
        assert any(str(tick).encode() in content for content in on_disk), f"pair at tick {tick} is on no disk"

    its_box.on_acknowledged = on_acknowledged


def assert_all_there(its_box: Box, folder: Path) -> None:
    """Every pair the box ever fired is in a file, and no file holds a pair twice."""
    on_disk = ticks_on_disk(folder)
    assert its_box.acknowledged
    assert set(its_box.acknowledged) <= on_disk
    assert {real.reference_tick for real in its_box.port.truth} <= on_disk
    for path in sessions_in(folder):
        lines = [json.loads(line) for line in path.read_bytes().split(b"\n") if _is_json(line)]
        numbers = [line["shot"] for line in lines if "shot" in line]
        assert numbers == list(range(1, len(numbers) + 1))


def _is_json(line: bytes) -> bool:
    try:
        json.loads(line)
    except ValueError:
        return False
    return True


def go_on_until_done(words: list[str], folder: Path, its_box: Box, kills: list[Moment]) -> int:
    """Run, killed at each of the moments in turn, then undisturbed: how many were really killed."""
    watch_over(its_box, folder)
    hosts: list[Host] = []
    for moment in kills:
        hosts.append(moment.run(words, folder, its_box))
        assert "Traceback" not in hosts[-1].err, hosts[-1].err
        if not hosts[-1].killed:
            break
        its_box.port.wait(Random(len(hosts)).uniform(0.0, 8.0))  # the person finds it, sooner or later
        assert its_box.port.world.releases.closed_mask == 0
    killed = sum(host.killed for host in hosts)
    if hosts[-1].killed:
        begun = (folder / "s.jsonl").exists()
        last = run_host(words, folder, its_box)
        assert ("s.jsonl holds" in last.err or "s.jsonl broke off" in last.err) == begun, last.said
        hosts.append(last)
    assert hosts[-1].code == 0, hosts[-1].said
    return killed


def series_killed(folder: Path, kills: list[Moment], seed: int) -> int:
    folder.mkdir(exist_ok=True)
    rig_in(folder)
    its_box = box(seed=seed)
    killed = go_on_until_done(SERIES, folder, its_box, kills)
    assert read_session(folder / "s.jsonl").shot.tolist() == list(range(1, PAIRS + 1))
    assert_all_there(its_box, folder)
    # Nothing was fired twice: what the box had fired and the host had not kept was read from the box.
    assert len(its_box.port.truth) == PAIRS
    return killed


def calibration_killed(folder: Path, kills: list[Moment], seed: int = 2) -> int:
    folder.mkdir(exist_ok=True)
    rig_path = rig_in(folder)
    its_box = box(seed=seed)
    watch_over(its_box, folder)
    killed = 0
    for moment in [*kills, Moment()]:
        left = left_by_the_run_before(folder)
        host = moment.run(CALIBRATE, folder, its_box)
        assert "Traceback" not in host.err, host.err
        if left is not None and "1. Plugs" in host.out:
            assert "was broken off" in host.err, host.said
            assert f"{left} of 12 pairs measured" in host.err, host.said
        if not host.killed:
            break
        killed += 1
        its_box.port.wait(5.0)
        assert its_box.port.world.releases.closed_mask == 0
    found, complaints = calibrations_beside(rig_path)
    assert not complaints
    if host.code == 1:
        # One fresh series in some twenty disagrees by chance: an answer, and the measurements are kept.
        assert "does not agree" in host.out, host.said
        assert not found
    else:
        assert host.code == 0, host.said
        assert len(found) == 1
    for purpose, pairs in (("series", 12), ("verify", 10)):
        (session,) = [held for held in sessions_in(folder).values() if held.header.purpose == purpose]
        assert session.shot.tolist() == list(range(1, pairs + 1))
    assert not list((folder / "simulated" / "sessions").glob("*.unfinished.json"))
    assert_all_there(its_box, folder)
    return killed


def left_by_the_run_before(folder: Path) -> int | None:
    """Pairs measured by a calibration that was broken off, or None where it had not come to measure."""
    for note in (folder / "simulated" / "sessions").glob("*.unfinished.json"):
        path = folder / "simulated" / "sessions" / json.loads(note.read_bytes())["sessions"][0]
        if path.exists() and b"\n" in path.read_bytes():
            return len(read_session(path).shot)
    return None


@pytest.mark.parametrize("seed", range(3))
def test_a_series_killed_at_random_moments_loses_no_pair_and_goes_on(tmp_path: Path, seed: int) -> None:
    kills = list(itertools.islice(moments(seed, SERIES_REQUESTS, SERIES_DISK_CALLS), 3))
    assert series_killed(tmp_path / "fen", kills, seed + 1) > 0


def test_a_series_killed_in_the_middle_of_each_write(tmp_path: Path) -> None:
    """Half a header, half a pair: the torn line is named, stays, and is not counted."""
    for call in (1, 3, 7):
        assert series_killed(tmp_path / str(call), [Moment(disk_call=call)], 1) == 1


def test_a_series_that_was_killed_is_told_by_the_next_one_without_a_file_named(tmp_path: Path) -> None:
    rig_in(tmp_path)
    its_box = box()
    words = ["series", "-n", "6", "--yes"]
    assert run_host(words, tmp_path, its_box, killed_at_request=90).killed
    (path,) = (one.relative_to(tmp_path) for one in (tmp_path / "simulated" / "sessions").glob("*.jsonl"))
    held = len(read_session(tmp_path / path).shot)
    assert 0 < held < 6
    its_box.port.wait(5.0)
    again = run_host(words, tmp_path, its_box)
    assert f"holds {held} of 6 pairs. The same command with --out {path} goes on with it." in " ".join(
        again.err.split()
    )
    assert again.code == 0


@pytest.mark.parametrize(
    "kills",
    [
        pytest.param([Moment(request=150), Moment(request=330)], id="measuring, then verifying"),
        pytest.param([Moment(disk_call=3)], id="as it begins"),
        pytest.param([Moment(request=250), Moment(disk_call=30)], id="measuring, then writing"),
        pytest.param([Moment(request=478)], id="storing the preset"),
    ],
)
def test_a_calibration_killed_says_what_it_found_and_goes_on(tmp_path: Path, kills: list[Moment]) -> None:
    assert calibration_killed(tmp_path / "fen", kills) == len(kills)


@pytest.mark.soak
def test_series_killed_at_three_hundred_random_moments(tmp_path: Path) -> None:
    killed, seed = 0, 0
    while killed < 300:
        seed += 1
        kills = list(itertools.islice(moments(1000 + seed, SERIES_REQUESTS, SERIES_DISK_CALLS), 6))
        killed += series_killed(tmp_path / str(seed), kills, seed)
    print(f"{killed} kills in {seed} series of {PAIRS} pairs")


@pytest.mark.soak
def test_calibrations_killed_at_a_hundred_and_fifty_random_moments(tmp_path: Path) -> None:
    killed, seed = 0, 0
    while killed < 150:
        seed += 1
        kills = list(itertools.islice(moments(2000 + seed, CALIBRATE_REQUESTS, CALIBRATE_DISK_CALLS), 4))
        killed += calibration_killed(tmp_path / str(seed), kills)
    print(f"{killed} kills in {seed} calibrations")
