"""The rig and calibration that the pages show, made by the script that makes their pictures."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

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
