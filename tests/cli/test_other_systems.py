"""Nothing but `box serve` needs POSIX: everything is imported, and a rig measured, as on a system without it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.running import run

# What a Windows Python does not have. `os` is stripped too; third-party libraries are loaded before, as they are
# built for the system they run on.
AS_WINDOWS = """
import importlib, os, pkgutil, sys, types
import click, click._termui_impl, click.shell_completion, jinja2, matplotlib.backends.backend_agg
import matplotlib.backends.backend_svg, matplotlib.figure, numpy, orjson, PIL.Image, pint, platformdirs, pydantic
import rich.console, rich.live, rich.progress, rich.table, scipy.optimize, scipy.stats, serial.tools.list_ports
import skimage.registration, skimage.transform, tifffile, tomlkit, schemdraw, imagecodecs, concurrent.futures.process
import subprocess, tempfile, mpremote.transport_serial, multiprocessing

for name in ("fcntl", "termios", "tty", "pty", "resource", "pwd", "grp", "posix", "readline"):
    sys.modules[name] = None
for name in (
    "O_DIRECTORY", "O_NOFOLLOW", "O_CLOEXEC", "openpty", "ttyname", "fork", "forkpty", "sync", "getuid", "geteuid",
    "setsid", "mkfifo", "statvfs", "killpg", "uname", "set_blocking", "fchmod", "chown",
):
    if hasattr(os, name):
        delattr(os, name)
import signal
for name in ("SIGHUP", "SIGKILL", "SIGALRM", "SIGUSR1", "SIGPIPE", "alarm", "setitimer", "pthread_kill"):
    if hasattr(signal, name):
        delattr(signal, name)
msvcrt = types.ModuleType("msvcrt")
msvcrt.LK_NBLCK, locked = 2, set()
def locking(descriptor, mode, count):
    assert mode == 2 and count == 1
    locked.add(descriptor)
msvcrt.locking = locking
sys.modules["msvcrt"] = msvcrt
sys.platform = "win32"
"""

IMPORT_ALL = (
    AS_WINDOWS
    + """
import coincide, coincide_firmware.app, coincide_wiring
for package in (coincide, coincide_firmware.app, coincide_wiring):
    for found in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if not found.name.endswith("__main__"):
            importlib.import_module(found.name)
print("imported")
"""
)

MEASURE = (
    AS_WINDOWS
    + """
from coincide.cli import coincide
for words in (["rig", "new"], ["series", "-n", "8", "--out", "s.jsonl"], ["report", "s.jsonl", "--to", "r"],
              ["wiring", "draw", "--to", "w"], ["box", "install", "--to", "b"]):
    coincide.main(words, standalone_mode=False, prog_name="coincide")
assert locked, "the session file was not locked"
try:
    coincide.main(["box", "serve"], standalone_mode=False, prog_name="coincide")
except Exception as refused:
    print(refused)
"""
)


def played(script: str, cwd: Path) -> str:
    ran = subprocess.run(
        [sys.executable, "-X", "warn_default_encoding", "-c", script],
        cwd=cwd,
        capture_output=True,
        text=True,
        timeout=180,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr[-3000:]
    # A file read or written in the country's letters instead of UTF-8 is found here.
    assert "EncodingWarning" not in "".join(
        line for line in ran.stderr.splitlines(keepends=True) if "coincide" in line
    )
    return ran.stdout


def test_every_module_is_imported_without_posix(tmp_path: Path) -> None:
    assert played(IMPORT_ALL, tmp_path).endswith("imported\n")


def test_a_series_is_fired_and_reported_without_posix(tmp_path: Path) -> None:
    said = played(MEASURE, tmp_path)
    assert "This system has no pseudo-terminals" in said.splitlines()[-1]
    assert (tmp_path / "r" / "s.html").is_file()
    assert (tmp_path / "w" / "board.svg").is_file()
    assert (tmp_path / "b" / "main.py").is_file()


def test_every_file_has_a_name_that_every_system_takes(tmp_path: Path) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    assert run(["calibrate", "-n", "10", "--verify", "10"], tmp_path).code in (0, 1)
    (session,) = (tmp_path / "simulated" / "sessions").glob("*-series.jsonl")
    assert run(["report", str(session), "--to", "report"], tmp_path).code == 0
    assert run(["card", "--to", "plan"], tmp_path).code == 0
    assert run(["wiring", "draw", "--to", "w"], tmp_path).code == 0
    written = [one for one in tmp_path.rglob("*") if one.is_file()]
    assert len(written) > 12
    for one in written:
        assert not re.search(r'[<>:"|?*\\\x00-\x1f]|[. ]$', one.name), one
        assert one.stem.upper() not in {"CON", "PRN", "AUX", "NUL", "COM1", "LPT1"}


@pytest.mark.parametrize("letters", ["cp1252", "cp850"])
def test_no_output_is_too_plain_for_what_is_said(tmp_path: Path, letters: str) -> None:
    """A pipe on Windows knows its country's letters only: no command may break on an ohm or a foreign name."""
    assert run(["rig", "new"], tmp_path).code == 0
    rig = tmp_path / "rig.toml"
    rig.write_text(rig.read_text("utf-8").replace('"Lapwing"', '"Łąpwing"'), "utf-8")

    def said(*words: str) -> bytes:
        return subprocess.run(
            [sys.executable, "-m", "coincide", *words],
            cwd=tmp_path,
            env={**os.environ, "PYTHONIOENCODING": letters},
            capture_output=True,
            check=True,
            timeout=60,
        ).stdout

    parts = said("wiring", "parts").decode(letters)
    assert "ohm" in parts
    assert "Traceback" not in said("rig", "show").decode(letters)
    found = json.loads(said("rig", "show", "--json").decode(letters))
    assert found["bodies"]["a"]["name"] == "Łąpwing"
