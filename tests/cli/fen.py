"""The rig and calibration that the pages show, made by the script that makes their pictures."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path
from types import ModuleType
from typing import Any

from tests.cli.running import Ran

DOCS = Path(__file__).parents[2] / "docs"


def picture_script() -> ModuleType:
    """docs/pictures/make_planning.py, as a module."""
    spec = importlib.util.spec_from_file_location("make_planning", DOCS / "pictures" / "make_planning.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def fen_rig(folder: Path) -> Path:
    """The rig file in `folder`, its calibration beside it."""
    rig: Path = picture_script().fen_rig(folder)
    return rig


def changed(folder: Path, name: str, *changes: tuple[str, str]) -> str:
    """A copy of the rig with text replaced; its calibration goes along. Returns its name."""
    text = (folder / "rig.toml").read_text("utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    (folder / f"{name}.toml").write_text(text, "utf-8")
    for found in folder.glob("rig-calibration-*.toml"):
        copy = folder / found.name.replace("rig-", f"{name}-", 1)
        copy.write_text(found.read_text("utf-8"), "utf-8")
    return f"{name}.toml"


def answer(ran: Ran) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(ran.out)
    return found


def results_page() -> str:
    page = (DOCS / "formats.md").read_text("utf-8")
    return page[page.index("## Results") :]


def documented(found: dict[str, Any], command: str, *, basis: bool = False) -> None:
    """Every key of the object is in the section about that command, or among what is common to all."""
    page = results_page()
    section = page[page.index(f"### `coincide {command} --json`: {found['format']}") :]
    section = section[: section.find("\n### ", 10)]
    common = page[: page.index("\n### ")]
    for key, value in found.items():
        assert f"`{key}`" in section, key
        first = value[0] if isinstance(value, list) and value and isinstance(value[0], dict) else value
        for inner in first if isinstance(first, dict) and key != "card" else ():
            assert f"`{inner}`" in section or f"`{inner}`" in common, f"{key}.{inner}"
    assert ("basis" in found) == basis
