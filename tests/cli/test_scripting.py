"""`import coincide`: the page's examples run on files that the commands made; importing stays cheap."""

from __future__ import annotations

import doctest
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

import coincide
from coincide.session.frames import Frame, write_frames
from tests.cli.fen import DOCS
from tests.cli.running import run


@pytest.fixture
def folder(tmp_path: Path, calibrated_once: Path) -> Path:
    """A calibrated rig with its two sessions under plain names, three watched pairs, and three frames of a roll."""
    shutil.copytree(calibrated_once, tmp_path, dirs_exist_ok=True)
    for name, purpose in (("series", "series"), ("fresh", "verify")):
        (session,) = (tmp_path / "simulated" / "sessions").glob(f"*-{purpose}.jsonl")
        session.rename(tmp_path / f"{name}.jsonl")
    assert run(["watch", "-n", "3", "--out", "short.jsonl"], tmp_path).code == 0
    nan = float("nan")
    write_frames(
        tmp_path / "roll-7.csv",
        [
            Frame(number, number, 1, 1.0, "1/60+1/30", "within", skew_s, nan, nan, 0.02, 0.0, 0.003)
            for number, skew_s in enumerate((0.00041, -0.00087, 0.0011), 1)
        ],
    )
    return tmp_path


def test_the_page_runs(folder: Path) -> None:
    before = Path.cwd()
    os.chdir(folder)
    try:
        text = (DOCS / "scripting.md").read_text("utf-8")
        page = doctest.DocTestParser().get_doctest(text, {}, "scripting.md", "scripting.md", 0)
        runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS)
        said: list[str] = []
        runner.run(page, out=said.append)
    finally:
        os.chdir(before)
    assert runner.failures == 0, "".join(said)
    assert runner.tries > 20


def the_ten_lines() -> str:
    text = (DOCS / "scripting.md").read_text("utf-8")
    (script,) = re.findall(r"^```text\n(import sys\n.*?)^```", text, re.MULTILINE | re.DOTALL)
    assert len(script.splitlines()) <= 12
    return str(script)


def run_the_ten_lines(folder: Path, *port: str) -> None:
    (folder / "ten.py").write_text(the_ten_lines(), "utf-8")
    environment = {**os.environ, "MPLBACKEND": "Agg"}
    done = subprocess.run(
        [sys.executable, "ten.py", *port],
        cwd=folder,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    with Image.open(folder / "skews.png") as picture:
        colours = picture.convert("RGB").getcolors(1 << 24)
    assert colours is not None
    assert len(colours) > 20  # drawn, not an empty sheet
    assert len(list(folder.glob("**/sessions/*-verify.jsonl"))) == 1


def test_ten_lines_calibrate_and_plot(tmp_path: Path) -> None:
    """The page's script as it stands; without a port the simulated box answers."""
    assert run(["rig", "new"], tmp_path).code == 0
    run_the_ten_lines(tmp_path)


@pytest.mark.soak
@pytest.mark.pty
def test_ten_lines_calibrate_a_served_box(tmp_path: Path) -> None:
    """The same in real time, against a box that another process serves at a port."""
    assert run(["rig", "new"], tmp_path).code == 0
    command = [sys.executable, "-u", "-m", "coincide", "box", "serve"]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, text=True) as served:
        try:
            assert served.stdout is not None
            port = next(found[0] for line in served.stdout if (found := re.search(r"/dev/[\w/]+", line)))
            run_the_ten_lines(tmp_path, port)
        finally:
            served.terminate()


def test_importing_it_costs_nothing() -> None:
    """`coincide --help` imports the package: nothing heavy may come with it."""
    code = (
        "import coincide, sys;"
        "heavy = {'numpy', 'scipy', 'pint', 'pydantic', 'matplotlib', 'serial'} & set(sys.modules);"
        "sys.exit(len(heavy))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_every_name_is_there_and_documented() -> None:
    for name in coincide.__all__:
        assert getattr(coincide, name).__doc__, name
        assert name in dir(coincide)
    assert coincide.__version__ == "0.1.0"
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        coincide.nothing  # noqa: B018
