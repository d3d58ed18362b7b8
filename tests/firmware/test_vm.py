"""The firmware's tests on MicroPython's own virtual machine: the same files pytest runs on CPython.

Each file of tests/firmware/app is one test here, run by tests/firmware/vm/run.mjs on node.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path

import pytest

HERE = Path(__file__).parent
VM = HERE / "vm"
MACHINE = VM / "node_modules" / "@micropython" / "micropython-webassembly-pyscript"
FILES = sorted(path.stem for path in (HERE / "app").glob("test_*.py"))


def run_on_vm(*arguments: str) -> list[dict[str, object]]:
    """Run the runner; its verdicts, one dict a test. Skips with the reason where the machine is missing."""
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed: MicroPython's virtual machine cannot run")
    if not MACHINE.is_dir():
        pytest.skip("MicroPython's virtual machine is not installed: run 'npm install' in tests/firmware/vm")
    done = subprocess.run(
        [node, "run.mjs", *arguments], cwd=VM, capture_output=True, text=True, check=False, timeout=3000
    )
    lines = done.stdout.splitlines()
    assert lines, done.stderr[-2000:]
    verdicts: list[dict[str, object]] = [json.loads(line) for line in lines]
    failed = [verdict for verdict in verdicts if verdict.get("ok") is False]
    assert not failed, "\n".join(f"{verdict['test']}: {verdict['trace']}" for verdict in failed)
    assert "done" in verdicts[-1], done.stderr[-2000:]
    return verdicts


def names_in(module: str, prefix: str) -> set[str]:
    text = (HERE / "app" / f"{module}.py").read_text(encoding="utf-8")
    found = {line[4 : line.index("(")] for line in text.splitlines() if line.startswith(f"def {prefix}")}
    return {name for name in found if not name.endswith("_long")}


@pytest.mark.parametrize("module", FILES)
def test_on_micropython(module: str) -> None:
    verdicts = run_on_vm(module)
    ran = {verdict["test"] for verdict in verdicts if "test" in verdict}
    assert ran == names_in(module, "test_") | names_in(module, "steps_")


@pytest.mark.soak
def test_a_hundred_thousand_hostile_lines_in_the_heap_of_a_board() -> None:
    run_on_vm("test_hostile", "steps_hostile_long")
