"""`import coincide`: the page's examples run on files that the commands made; importing stays cheap."""

from __future__ import annotations

import doctest
import os
import subprocess
import sys
from pathlib import Path

import pytest

import coincide
from coincide.session.frames import Frame, write_frames
from tests.cli.fen import DOCS
from tests.cli.running import run


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A calibrated rig with its two sessions under plain names, three watched pairs, and three frames of a roll."""
    assert run(["rig", "new"], tmp_path).code == 0
    assert run(["calibrate"], tmp_path).code == 0
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
