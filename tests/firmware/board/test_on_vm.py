"""The board layer on MicroPython's own virtual machine."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
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
