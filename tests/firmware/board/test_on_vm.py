"""The board layer on MicroPython's own virtual machine."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[2] / "firmware"
MACHINE = HERE.parent / "vm" / "node_modules" / "@micropython" / "micropython-webassembly-pyscript"


def on_node(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Runs a script of this folder on node. Skips with the reason where the machine is missing."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed: MicroPython's virtual machine cannot run")
    if not MACHINE.is_dir():
        pytest.skip("MicroPython's virtual machine is not installed: run 'npm install' in tests/firmware/vm")
    return subprocess.run(
        [node, *arguments], cwd=HERE, capture_output=True, text=True, check=False, timeout=600
    )


def test_board_layer_on_micropython() -> None:
    done = on_node("vm.mjs")
    verdicts = [json.loads(line) for line in done.stdout.splitlines() if line.startswith("{")]
    failed = [f"{verdict['test']}: {verdict['trace']}" for verdict in verdicts if verdict.get("ok") is False]
    assert not failed, "\n".join(failed)
    assert verdicts, done.stdout[-2000:] + done.stderr[-2000:]
    assert verdicts[-1] == {"done": True}, done.stdout[-2000:] + done.stderr[-2000:]
    names = set(re.findall(r"^def (test_\w+)", (HERE / "vm_board.py").read_text(), re.MULTILINE))
    assert {verdict["test"] for verdict in verdicts[:-1]} == names


def in_order(module: str, seen: list[str]) -> list[str]:
    """The modules a module brings in, each after those it needs itself."""
    path = FIRMWARE / (module.replace(".", "/") + ".py")
    if module in seen or not path.exists():
        return seen
    folder = module.rpartition(".")[0]
    for start, names in re.findall(r"^ *from (\S+) import (.+)$", path.read_text(), re.MULTILINE):
        if start in (".", "app", "board"):
            for name in names.split(", "):
                in_order(f"{folder if start == '.' else start}.{name.partition(' ')[0]}", seen)
        else:
            in_order(folder + start if start.startswith(".") else start, seen)
    seen.append(module)
    return seen


HEAP_BYTES = 190 * 1024  # what MicroPython leaves to Python on an RP2040, by the smallest build seen
OBJECTS_BYTES = 8 * 1024  # the box's own objects, a request and its reply, edges being decoded


def test_the_whole_firmware_fits_the_memory_of_a_board() -> None:
    order: list[str] = []
    for module in ("board.safe", "app.pins", "board.registers", "board.pico", "app.box"):
        order = in_order(module, order)
    on_disk = {
        f"{folder}.{path.stem}"
        for folder in ("app", "board")
        for path in (FIRMWARE / folder).glob("*.py")
        if path.stem != "__init__"
    }
    assert set(order) == on_disk
    said = json.loads(on_node("fit.mjs", *order).stdout.splitlines()[-1])
    # Compiling the last modules comes on top of everything that is there by then.
    assert max(said["code"], said["most"]) + said["rings"] + said["buffers"] + OBJECTS_BYTES < HEAP_BYTES, (
        said
    )
    # The rings come while the heap is whole: the board layer alone is there before them.
    assert order.index("board.sampler") < order.index("app.box")
