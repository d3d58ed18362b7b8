"""Built, installed where no checkout is, and everything works from there: firmware, drawings, page and all."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from pathlib import Path, PurePosixPath

import pytest

from coincide.box.firmware import NOT_ON_A_BOARD

ROOT = Path(__file__).parents[2]


def listed() -> list[str]:
    """What git knows of: the checkout as others get it."""
    found = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
    return found.stdout.splitlines()


def packaged() -> dict[str, str]:
    """Every file that the packages have, by its name in the checkout: where it lies once installed."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    places = settings["package-dir"]
    installed = {}
    for name in listed():
        for package, folder in places.items():
            if PurePosixPath(name).is_relative_to(folder):
                installed[name] = f"{package}/{PurePosixPath(name).relative_to(folder)}"
    return installed


def test_every_file_of_the_packages_is_shipped() -> None:
    """A new folder or a new kind of file that nobody put on the list would be missed only once installed."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]
    globs = settings["package-data"]["*"]
    for where in packaged().values():
        path = PurePosixPath(where)
        package = ".".join(path.parent.parts)
        inside = package in settings["packages"]
        if path.suffix == ".py":
            assert inside, where
        else:
            assert (inside and any(path.match(glob) for glob in globs)) or path.parts[:3] == (
                "coincide_wiring",
                "draw",
                "svg",
            ), where


@pytest.mark.soak
def test_it_works_without_the_checkout(tmp_path: Path) -> None:
    source, dist, home, clean = (tmp_path / name for name in ("source", "dist", "home", "clean"))
    for name in listed():
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        (source / name).write_bytes((ROOT / name).read_bytes())
    environment = {
        key: value for key, value in os.environ.items() if not key.startswith(("PYTHON", "VIRTUAL"))
    }
    environment |= {"HOME": str(home), "XDG_CONFIG_HOME": str(home), "XDG_CACHE_HOME": str(home)}
    home.mkdir()
    clean.mkdir()

    def ran(*words: str | Path, cwd: Path = clean, codes: tuple[int, ...] = (0,)) -> str:
        done = subprocess.run(
            words, cwd=cwd, env=environment, capture_output=True, text=True, timeout=600, check=False
        )
        assert done.returncode in codes, f"{words}: {done.stdout[-1500:]}{done.stderr[-1500:]}"
        return done.stdout

    asked = [sys.executable, "-m", "pip", "index", "versions", "click"]
    if subprocess.run(asked, capture_output=True, timeout=120, check=False).returncode:
        pytest.skip("the package index cannot be reached: build tools and dependencies come from there")
    ran(sys.executable, "-m", "build", "--outdir", dist, source)  # the wheel is built from the sdist
    (wheel,), (sdist,) = dist.glob("*.whl"), dist.glob("*.tar.gz")
    inside = set(zipfile.ZipFile(wheel).namelist())
    assert set(packaged().values()) <= inside
    assert not any(name.startswith("tests/") for name in inside)
    with tarfile.open(sdist) as packed:
        names = {name.split("/", 1)[-1] for name in packed.getnames()}
    assert {"README.md", "LICENSE", "pyproject.toml", "firmware/main.py"} <= names

    ran(sys.executable, "-m", "venv", tmp_path / "venv")
    there = tmp_path / "venv" / ("Scripts" if os.name == "nt" else "bin")
    ran(there / "python", "-m", "pip", "install", "--quiet", wheel)
    ran(there / "python", "-m", "pip", "check")
    coincide = there / "coincide"
    where = ran(there / "python", "-c", "import coincide; print(coincide.__file__)")
    assert Path(where.strip()).is_relative_to(tmp_path / "venv")
    assert ran(coincide, "--version") == "coincide 0.1.0\n"
    assert "coincide demo" in ran(coincide)
    assert "agrees with what was predicted" in ran(coincide, "demo", "--to", "d")
    (session,) = (clean / "d" / "simulated" / "sessions").glob("*-series.jsonl")
    script = f"import coincide; print(coincide.load({str(session)!r}).suggestion.delay_s)"
    assert 0.019 < float(ran(there / "python", "-c", script)) < 0.021
    assert "Wrote card.pdf" in ran(coincide, "card", cwd=clean / "d")
    assert "Ready" in ran(coincide, "ready", cwd=clean / "d")
    ran(coincide, "limits", "--to", "plan", cwd=clean / "d", codes=(1,))  # the cyclist is not kept
    ran(coincide, "wiring", "check")
    ran(coincide, "wiring", "cautions")
    ran(coincide, "wiring", "draw", "--to", "w")
    assert {one.name for one in (clean / "w").glob("*.svg")} == {
        one.name for one in (ROOT / "wiring" / "draw" / "svg").glob("*.svg")
    }
    ran(coincide, "box", "install", "--to", "b")
    for name in listed():
        if name.removeprefix("firmware/") in NOT_ON_A_BOARD:
            continue
        if name.startswith(("firmware/app/", "firmware/board/")) or name in (
            "firmware/main.py",
            "firmware/boot.py",
        ):
            assert (clean / "b" / name.removeprefix("firmware/")).read_bytes() == (
                ROOT / name
            ).read_bytes(), name
    assert "_COINCIDE_COMPLETE" in ran("env", "_COINCIDE_COMPLETE=bash_source", coincide)
    assert "Usage: coincide" in ran(there / "python", "-m", "coincide", "--help")
