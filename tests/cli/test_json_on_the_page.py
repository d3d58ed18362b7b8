"""Every key that `--json` prints is on docs/formats.md, under the heading of its command, and none more."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.running import run

PAGE = Path(__file__).parents[2] / "docs" / "formats.md"


def keys_on_the_page(name: str) -> set[str]:
    """Keys of the first column of the table under the heading that names this command."""
    sections = re.split(r"^### ", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
    (section,) = [text for text in sections if name in text.split("\n", 1)[0]]
    rows = [line for line in section.splitlines() if line.startswith("| `")]
    return {key for row in rows for key in re.findall(r"`(\w+)`", row.split("|")[1])}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("json")
    assert run(["rig", "new"], made).code == 0
    return made


def printed(folder: Path, *arguments: str) -> Any:
    return json.loads(run([*arguments, "--json"], folder).out)


def test_sessions_and_calibrations(folder: Path) -> None:
    calibrated = printed(folder, "calibrate", "-n", "20", "--verify", "12")
    assert set(calibrated) == keys_on_the_page("coincide-calibration-result")
    assert set(calibrated["measured"]) == keys_on_the_page("coincide-session-result") - {"compared"}
    ready = printed(folder, "ready")
    assert set(ready) == keys_on_the_page("coincide-ready-result")
    session = calibrated["measured"]["session"]
    assert printed(folder, "report", session, "--to", "r").keys() == calibrated["measured"].keys()


@pytest.mark.parametrize(
    ("arguments", "name"),
    [
        (("framelog",), "coincide-framelog-result"),
        (("box", "list"), "coincide-box-list-result"),
        (("box", "settings"), "coincide-box-settings-result"),
        (("rig", "check"), "coincide rig check --json"),
    ],
)
def test_the_others(folder: Path, arguments: tuple[str, ...], name: str) -> None:
    assert set(printed(folder, *arguments)) == keys_on_the_page(name)
