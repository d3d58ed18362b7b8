"""The firmware starts, and does a day's work, in the heap of a board: MicroPython's own collector, nothing helped."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from coincide.box.firmware import board_files, compiled_files
from tests.firmware.heap.machine import SEEN_BYTES, SMALLEST_BYTES, Board

MPY = 0x306
HOLE_LEAST = 48 * 1024
FREE_LEAST = 76_000  # 80 to 82 seen; four are left to what is being added to preset and frame log


def compiled() -> dict[str, bytes]:
    files = compiled_files(MPY)
    assert files is not None
    return files


def crash_of(root: Path) -> str:
    return " ".join(path.read_text(errors="replace") for path in root.glob("data/crash.*"))


def reached(said: list[dict[str, Any]], root: Path) -> dict[str, dict[str, Any]]:
    """What was free at each point, by its name."""
    found = {str(line["at"]): line for line in said if "at" in line}
    assert "started" in found, (said, crash_of(root))
    return found


@pytest.mark.parametrize("heap_bytes", [SEEN_BYTES, SMALLEST_BYTES])
def test_the_box_starts_from_source_in_the_heap_of_a_board(heap_bytes: int, tmp_path: Path) -> None:
    """The files compiled one after another, in main.py's own order, as a board does where they come as source."""
    reached(Board(tmp_path, board_files()).run("start", heap_bytes), tmp_path)


def test_a_days_work_in_the_heap_of_a_board(tmp_path: Path) -> None:
    said = Board(tmp_path, compiled()).run("day", SEEN_BYTES, "50")
    found = reached(said, tmp_path)
    assert "framelog of 10" in found, (said, crash_of(tmp_path))
    assert {"crashes": 0, "dropped": 0} in said
    for name, line in found.items():
        assert line["free"] >= FREE_LEAST, (name, line)
        assert line["hole"] >= HOLE_LEAST, (name, line)


def test_a_days_work_in_the_smallest_heap(tmp_path: Path) -> None:
    said = Board(tmp_path, compiled()).run("day", SMALLEST_BYTES, "5")
    assert "framelog of 10" in reached(said, tmp_path), (said, crash_of(tmp_path))
    assert {"crashes": 0, "dropped": 0} in said
