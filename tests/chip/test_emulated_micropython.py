"""The firmware in a real MicroPython in the published emulator of the whole chip, given `--micropython-uf2 PATH`.

That emulator runs PIO slow against the CPU, ignores joined FIFOs and cannot read outputs back at the pins, so
nothing here asks for times or edges: only that the files arrive, the board layer starts within the heap, the
file store works and a sequence can be ended.
"""

from __future__ import annotations

import ast
import asyncio
import hashlib
from pathlib import Path
from typing import Any

import pytest
from rp2040py.boards import BoardSpec
from rp2040py.device import MicroPythonDevice

from coincide.box.firmware import board_files
from coincide.box.install import LEAST_MICROPYTHON

pytestmark = pytest.mark.chip
CHUNK = 512
EXEC_S = 600.0


@pytest.fixture(scope="module")
def answers(request: pytest.FixtureRequest) -> dict[str, Any]:
    path = request.config.getoption("--micropython-uf2")
    if path is None:
        pytest.skip("no MicroPython: give --micropython-uf2 PATH (an RP2040 build, 1.24 or newer)")
    return asyncio.run(_run(Path(path)))


async def _run(uf2: Path) -> dict[str, Any]:
    """One boot: everything is asked in it, as a boot takes its time."""
    async with MicroPythonDevice(board=BoardSpec(image=uf2)) as device:

        async def ask(source: str) -> Any:
            said, failed = await device.aexec(source, timeout=EXEC_S)
            assert not failed, failed.decode()
            return ast.literal_eval(said.decode().strip()) if said.strip() else None

        found: dict[str, Any] = {
            "version": await ask("import sys\nprint(tuple(sys.implementation.version[:2]))")
        }
        await ask("import os\nfor d in ('app', 'board'):\n try: os.mkdir(d)\n except OSError: pass")
        for name, content in board_files().items():
            await ask(f"f = open({name!r}, 'wb')")
            for at in range(0, len(content), CHUNK):
                await ask(f"f.write({content[at : at + CHUNK]!r})\nNone")
            await ask("f.close()")
        hashes = "import hashlib, binascii\nprint({n: binascii.hexlify(hashlib.sha256(open(n, 'rb').read()).digest())"
        found["hashes"] = await ask(f"{hashes} for n in {tuple(board_files())!r}}})")
        await ask("exec(open('boot.py').read())\nfrom board.pico import Board\nb = Board()")
        found["identity"] = await ask("print(b.identity())")
        found["free"] = await ask("import gc\ngc.collect()\nprint(gc.mem_free())")
        found["files"] = await ask(
            "b.files.replace('t', b'abc')\nb.files.append('t', b'def')\nprint((b.files.read('t'), b.files.size('t'),"
            " b.files.read('none'), 't' in b.files.names()))\nb.files.remove('t')"
        )
        found["after open"] = await ask(
            "b.start_pair(0, 100, 1000, 100000)\nb.ensure_open()\nprint((b.outputs_busy(), b.millis() >= 0))"
        )
        found["box"] = await ask(
            "from app.box import Box\nx = Box(b)\nprint([x.step() >= 0 for _ in range(3)])"
        )
        return found


def test_version_is_a_supported_one(answers: dict[str, Any]) -> None:
    assert answers["version"] >= LEAST_MICROPYTHON


def test_every_file_arrives_whole(answers: dict[str, Any]) -> None:
    assert answers["hashes"] == {
        name: hashlib.sha256(content).hexdigest().encode() for name, content in board_files().items()
    }


def test_board_layer_starts_with_room_left(answers: dict[str, Any]) -> None:
    assert answers["identity"]["chip"] == "RP2040"
    assert answers["identity"]["simulated"] is False
    assert answers["free"] > 40_000


def test_file_store_works(answers: dict[str, Any]) -> None:
    assert answers["files"] == (b"abcdef", 6, None, True)


def test_ensure_open_ends_a_sequence(answers: dict[str, Any]) -> None:
    assert answers["after open"] == (False, True)


def test_application_steps(answers: dict[str, Any]) -> None:
    assert answers["box"] == [True, True, True]
