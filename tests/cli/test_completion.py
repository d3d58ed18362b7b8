"""The Tab key, by the shells' own mechanism: commands, options, worlds and ports; and no slow import for it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from coincide.box.simulated.worlds import world_names, world_spec
from tests.cli.fen import DOCS

COINCIDE = Path(sys.executable).parent / "coincide"
SHELLS = ("bash", "zsh", "fish")


def completed(shell: str, typed: str, cwd: Path) -> list[str]:
    """What this shell's completion of the line gets back, a line each."""
    environment = {**os.environ, "_COINCIDE_COMPLETE": f"{shell}_complete", "COMP_WORDS": typed}
    words = typed.split(" ")
    environment["COMP_CWORD"] = words[-1] if shell == "fish" else str(len(words) - 1)
    ran = subprocess.run(
        [COINCIDE], env=environment, cwd=cwd, capture_output=True, text=True, check=True, timeout=60
    )
    assert ran.stderr == ""
    return ran.stdout.splitlines()


@pytest.mark.parametrize("shell", SHELLS)
def test_each_shell_gets_its_script_and_its_answers(tmp_path: Path, shell: str) -> None:
    environment = {**os.environ, "_COINCIDE_COMPLETE": f"{shell}_source"}
    script = subprocess.run(
        [COINCIDE], env=environment, cwd=tmp_path, capture_output=True, text=True, check=True, timeout=60
    )
    assert "_COINCIDE_COMPLETE" in script.stdout
    assert any("calibrate" in line for line in completed(shell, "coincide cal", tmp_path))
    assert any("--verify" in line for line in completed(shell, "coincide calibrate --ver", tmp_path))
    assert any("twin-cable" in line for line in completed(shell, "coincide watch --world tw", tmp_path))


def test_what_is_offered(tmp_path: Path) -> None:
    assert completed("bash", "coincide wiring dr", tmp_path) == ["plain,draw"]
    assert completed("bash", "coincide box check --only z", tmp_path) == ["plain,zero"]
    assert completed("bash", "coincide box serve ho", tmp_path) == ["plain,hot-solenoids"]
    # Files and folders are the shell's own business: it knows about blanks and home folders.
    assert completed("bash", "coincide report s", tmp_path) == ["file,s"]
    assert completed("bash", "coincide limits --to s", tmp_path) == ["dir,s"]


@pytest.mark.parametrize("name", world_names())
def test_a_world_is_known_as_it_is_completed(name: str) -> None:
    assert world_spec(name.replace(" ", "-")) == world_spec(name)


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash on this machine")
def test_in_bash_itself(tmp_path: Path) -> None:
    """The script loaded into bash, the Tab key played by calling what bash calls."""
    play = (
        'eval "$(_COINCIDE_COMPLETE=bash_source coincide)"\n'
        "complete -p coincide\n"
        "COMP_WORDS=(coincide series --world sl) COMP_CWORD=3\n"
        "compopt() { :; }\n"  # outside readline there is nothing to set
        "_coincide_completion coincide\n"
        'printf "%s\\n" "${COMPREPLY[@]}"\n'
    )
    environment = {**os.environ, "PATH": f"{COINCIDE.parent}{os.pathsep}{os.environ['PATH']}"}
    ran = subprocess.run(
        ["bash", "--norc", "-c", play],
        env=environment,
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert "-F _coincide_completion coincide" in ran.stdout
    assert ran.stdout.splitlines()[-2:] == ["slit-narrower-than-the-sensor", "slow-box"]


def test_the_page_shows_each_shells_line() -> None:
    page = (DOCS / "command-line.md").read_text("utf-8")
    for shell in SHELLS:
        assert f"_COINCIDE_COMPLETE={shell}_source coincide" in page
