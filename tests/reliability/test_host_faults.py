"""What may befall the laptop: a full disk, a folder that may not be written, a clock set back, another run."""

from __future__ import annotations

import itertools
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from coincide.rig.calibration import calibrations_beside, newest_for
from coincide.rig.file import load_rig
from coincide.session.file import SessionWriter, read_session
from tests.reliability.hosts import Faults, begin_host, box, rig_in, run_host, ticks_on_disk
from tests.reliability.test_host_killed import assert_all_there, watch_over
from tests.session.sessions import HEADER

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="processes are forked, limits are POSIX's")

SERIES = ["series", "-n", "6", "--yes", "--out", "s.jsonl"]

CALIBRATE = ["calibrate", "-n", "12", "--verify", "10", "--yes"]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> list[bytes]:
    """The lines of the file that a series leaves when nothing goes wrong."""
    folder = tmp_path_factory.mktemp("undisturbed")
    rig_in(folder)
    assert run_host(SERIES, folder, box()).code == 0
    return (folder / "s.jsonl").read_bytes().splitlines(keepends=True)


@pytest.mark.parametrize(
    ("lines", "more"),
    [
        pytest.param(0, 0, id="from the first byte"),
        pytest.param(0, 900, id="inside the header"),
        pytest.param(1, 0, id="after the header"),
        pytest.param(1, 40, id="inside the first pair"),
        pytest.param(4, 40, id="inside the fourth pair"),
    ],
)
def test_a_full_disk_ends_a_series_in_a_sentence_and_it_goes_on_when_there_is_room(
    tmp_path: Path, undisturbed: list[bytes], lines: int, more: int
) -> None:
    rig_in(tmp_path)
    room = len(b"".join(undisturbed[:lines])) + more
    its_box = box()
    watch_over(its_box, tmp_path)
    full = run_host(SERIES, tmp_path, its_box, faults=Faults(largest_file_bytes=room))
    full.assert_one_sentence(2)
    assert "make room" in full.err
    assert its_box.port.world.releases.closed_mask == 0
    its_box.port.wait(5.0)
    again = run_host(SERIES, tmp_path, its_box)
    assert again.code == 0, again.said
    assert read_session(tmp_path / "s.jsonl").shot.tolist() == [1, 2, 3, 4, 5, 6]
    assert len(its_box.port.truth) == 6
    assert_all_there(its_box, tmp_path)


def test_a_full_disk_at_the_end_of_a_calibration_costs_no_measurement(tmp_path: Path) -> None:
    rig_path = rig_in(tmp_path)
    its_box = box(seed=3)
    full = run_host(CALIBRATE, tmp_path, its_box, faults=Faults(no_room_for="rig-calibration"))
    full.assert_one_sentence(2)
    assert "make room" in full.err
    assert "the sessions are kept" in full.err
    assert calibrations_beside(rig_path) == ((), ())
    its_box.port.wait(60.0)
    again = run_host(CALIBRATE, tmp_path, its_box)
    assert again.code == 0, again.said
    assert "12 of 12 pairs measured and 10 of 10 fresh ones" in again.err
    assert len(calibrations_beside(rig_path)[0]) == 1
    # Fired anew was only the pair that shows the plugs.
    assert len(its_box.port.truth) == 23 + 1


def test_the_frame_log_is_not_cleared_where_its_frames_could_not_be_written(tmp_path: Path) -> None:
    rig_in(tmp_path)
    its_box = box()
    words = ["framelog", "--csv", "roll.csv", "--clear"]
    full = run_host(words, tmp_path, its_box, faults=Faults(largest_file_bytes=20))
    full.assert_one_sentence(2)
    assert not (tmp_path / "roll.csv").exists()


@pytest.mark.parametrize(
    "words",
    [
        SERIES,
        ["series", "-n", "6", "--yes"],
        CALIBRATE,
        ["watch", "-n", "3", "--yes"],
        ["framelog", "--csv", "roll.csv"],
    ],
    ids=" ".join,
)
def test_a_folder_that_may_not_be_written_is_a_sentence_before_anything_is_fired(
    tmp_path: Path, words: list[str]
) -> None:
    rig_in(tmp_path)
    its_box = box()
    tmp_path.chmod(0o555)
    try:
        host = run_host(words, tmp_path, its_box, faults=Faults(without_rights=True))
    finally:
        tmp_path.chmod(0o755)
    host.assert_one_sentence(2)
    assert its_box.port.truth == ()


def test_a_session_that_another_run_is_writing_is_left_alone(tmp_path: Path) -> None:
    rig_in(tmp_path)
    its_box = box()
    with SessionWriter(tmp_path / "s.jsonl", HEADER):
        before = (tmp_path / "s.jsonl").read_bytes()
        host = run_host(SERIES, tmp_path, its_box)
        host.assert_one_sentence(2)
        assert "Another run is writing s.jsonl" in host.err
    assert (tmp_path / "s.jsonl").read_bytes() == before
    assert its_box.port.truth == ()


@pytest.mark.parametrize("turns", [1, 7, 40])
def test_two_runs_into_one_file_do_not_interleave(tmp_path: Path, turns: int) -> None:
    """Both begin at once, each with a box of its own; whoever comes second to the file is told."""
    rig_in(tmp_path)
    boxes = box(seed=1), box(seed=2)
    running = [begin_host(SERIES, tmp_path, its_box) for its_box in boxes]
    while any(one.ended is None for one in running):
        for one in running:
            one.serve(until=in_turns(turns))
    hosts = [one.serve() for one in running]
    assert sorted(host.code for host in hosts) == [0, 2], [host.said for host in hosts]
    (refused,) = [host for host in hosts if host.code == 2]
    refused.assert_one_sentence(2)
    assert "s.jsonl" in refused.err
    session = read_session(tmp_path / "s.jsonl")
    assert session.shot.tolist() == [1, 2, 3, 4, 5, 6]
    winner = boxes[[host.code for host in hosts].index(0)]
    assert {real.reference_tick for real in winner.port.truth} <= ticks_on_disk(tmp_path)


def in_turns(count: int) -> Callable[[], bool]:
    left = itertools.count()
    return lambda: next(left) >= count


def test_a_calibration_made_after_the_clock_was_set_back_is_the_one_that_is_used(tmp_path: Path) -> None:
    rig_path = rig_in(tmp_path)
    its_box = box(seed=3)
    kept = []
    for said in ("2031-05-04T06:12:00+00:00", "2030-01-01T00:00:00+00:00"):
        host = run_host(CALIBRATE, tmp_path, its_box, faults=Faults(clock=said))
        assert host.code == 0, host.said
        kept.append(host.out.split("Kept as ")[1].split(",")[0])
        newest = newest_for(calibrations_beside(rig_path)[0], load_rig(rig_path))
        assert newest is not None
        assert newest.path.name == Path(kept[-1]).name
        assert ("set it right" in host.err) == (len(kept) > 1)
        its_box.port.wait(10.0)
    assert len(set(kept)) == 2
    assert len(list((tmp_path / "simulated" / "sessions").glob("*.jsonl"))) == 6
