"""Nothing that is written ever takes the place of a file that was not: pages, pictures, drawings, firmware, rigs."""

from __future__ import annotations

import os
import re
import time
from pathlib import Path

import pytest

from coincide import durable
from coincide.box.install import install_to_directory
from coincide.errors import BadInput
from coincide.report.files import write_report
from coincide.report.plots.series import new_figure, save
from coincide.rig.new import write_new
from coincide.timing.analysis import analyse_file
from coincide_wiring.draw import schematics
from coincide_wiring.export import files as exports
from coincide_wiring.netlist import Build
from tests.reliability.hosts import box, rig_in, run_host

OTHERS = b"somebody else's work of an afternoon\n"


def test_a_report_on_a_session_of_the_pages_name_leaves_the_measurement(tmp_path: Path) -> None:
    rig_in(tmp_path)
    assert run_host(["series", "-n", "5", "--yes", "--out", "evening.html"], tmp_path, box()).code == 0
    session = tmp_path / "evening.html"
    measured = session.read_bytes()
    analysis = analyse_file(session)
    for fresh in (None, analysis):
        with pytest.raises(BadInput, match=r"evening\.html exists already"):
            write_report(analysis, session, fresh, tmp_path)
        assert session.read_bytes() == measured
    assert not list(tmp_path.glob("*.png"))
    # In a folder of its own it is written, and written again.
    for _ in range(2):
        written = write_report(analyse_file(session), session, None, tmp_path / "page")
        assert all(path.stat().st_size for path in written)


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_a_picture_takes_no_other_files_place_but_its_own_earlier_one(tmp_path: Path, suffix: str) -> None:
    path = tmp_path / f"picture{suffix}"
    save(new_figure("one")[0], path)
    before = path.read_bytes()
    save(new_figure("another")[0], path)
    assert path.read_bytes() != before
    path.write_bytes(before[:8] + OTHERS)
    with pytest.raises(BadInput, match="exists already"):
        save(new_figure("one")[0], path)
    assert path.read_bytes() == before[:8] + OTHERS


@pytest.mark.parametrize(
    ("write", "name"),
    [
        (install_to_directory, "main.py"),
        (schematics.write, "lights.svg"),
        (lambda folder: exports.write(Build(), folder), "parts.csv"),
        (lambda folder: write_new(folder / "rig.toml"), "rig.toml"),
    ],
)
def test_a_folder_that_holds_such_a_name_is_left_as_it_is(tmp_path: Path, write, name: str) -> None:  # type: ignore[no-untyped-def]
    (tmp_path / name).write_bytes(OTHERS)
    with pytest.raises(BadInput, match="exists already"):
        write(tmp_path)
    assert [path.name for path in tmp_path.rglob("*") if path.is_file()] == [name]
    assert (tmp_path / name).read_bytes() == OTHERS


def test_a_disk_that_fills_up_leaves_nothing_that_blocks_the_next_try(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    contents = {tmp_path / str(number): b"x" * 100 for number in range(4)}
    synced = 0

    def full(descriptor: int) -> None:
        nonlocal synced
        synced += 1
        if synced > 4:  # each file and its folder: the third file
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="No space left"):
        durable.write_outputs(contents)
    assert not list(tmp_path.iterdir())
    monkeypatch.undo()
    assert durable.write_outputs(contents) == list(contents)


def test_a_name_taken_while_the_picture_was_being_written_stays_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "merged.tif"

    def at_work() -> None:
        with durable.new_file(path) as unfinished:
            unfinished.write_bytes(b"half an hour of work")
            path.write_bytes(OTHERS)

    with pytest.raises(BadInput, match="exists already"):
        at_work()
    assert [one.name for one in tmp_path.iterdir()] == ["merged.tif"]
    assert path.read_bytes() == OTHERS


def test_what_a_killed_run_left_half_written_is_cleared_by_the_next_and_nothing_else_is(
    tmp_path: Path,
) -> None:
    long_ago = time.time() - 7200
    for name in (".merged.tif.4711.coincide-part", "notes.part", ".hidden", ".page.html.4712.coincide-part"):
        (tmp_path / name).write_bytes(OTHERS)
        os.utime(tmp_path / name, (long_ago, long_ago))
    now = tmp_path / ".other.tif.4713.coincide-part"  # another run's, under way
    now.write_bytes(OTHERS)
    durable.write_new(tmp_path / "x.csv", b"1\n")
    assert {one.name for one in tmp_path.iterdir()} == {"notes.part", ".hidden", now.name, "x.csv"}


def test_every_file_is_written_by_the_one_writer() -> None:
    """`durable` names files; scans make their picture under the name it gives; a session is appended to."""
    root = Path(__file__).parents[2]
    writes = re.compile(r"write_bytes\(|write_text\(|os\.(replace|rename|open)\(|\.open\(\"[wxa]|imwrite\(")
    found = {
        str(path.relative_to(root))
        for folder in ("host", "wiring")
        for path in (root / folder).rglob("*.py")
        if writes.search(path.read_text("utf-8"))
    }
    assert found == {
        "host/coincide/durable.py",
        "host/coincide/session/file.py",
        "host/coincide/session/unfinished.py",  # who is at a session: a lock, empty
        "host/coincide/scans/files/write.py",
        "host/coincide/box/cable/owners.py",  # who has the port: a lock, written over by whoever has it
        "host/coincide/cli/terminal/process.py",  # the empty device, for streams that were closed
        "host/coincide/box/firmware.py",  # into a temporary folder, for the compiler
    }
