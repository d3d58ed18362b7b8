"""Every key that `coincide wiring ... --json` prints is on docs/formats.md, and every example is what is printed."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.running import run
from tests.cli.test_json_on_the_page import keys_on_the_page

PAGE = Path(__file__).parents[2] / "docs" / "formats.md"
COMMANDS = [
    (("wiring",), "coincide-wiring-result"),
    (("wiring", "parts"), "coincide-wiring-parts-result"),
    (("wiring", "figures", "--sync-a", "wetted"), "coincide-wiring-figures-result"),
    (("wiring", "pins"), "coincide-wiring-pins-result"),
    (("wiring", "check", "--sync-a", "wetted"), "coincide-wiring-check-result"),
    (("wiring", "cautions", "--at", "arm"), "coincide-wiring-cautions-result"),
    (("wiring", "terminal", "sync", "--volts", "-4.8"), "coincide-wiring-terminal-result"),
    (("wiring", "draw", "--to", "drawings"), "coincide-wiring-draw-result"),
    (("wiring", "export", "--to", "nets"), "coincide-wiring-export-result"),
    (
        ("wiring", "layout", "--to", "boards", "--board", "sync_cell_a"),
        "coincide-wiring-layout-result",
    ),
    (("box", "check", "--zero"), "coincide-bench-result"),
]


def section(name: str) -> str:
    (found,) = [
        text
        for text in re.split(r"^### ", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)
        if f": {name}" in text.split("\n", 1)[0]
    ]
    return found


def nested_keys(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value).union(*(nested_keys(one) for one in value.values()))
    return set().union(*(nested_keys(one) for one in value)) if isinstance(value, list) else set()


def assert_part_of(shown: Any, printed: Any) -> None:
    """What is shown is what is printed, cut short: every key of an object has its value, every list its items;
    numbers to three figures."""
    if isinstance(shown, dict):
        assert set(shown) <= set(printed)
        for key, value in shown.items():
            assert_part_of(value, printed[key])
    elif isinstance(shown, list) and shown and isinstance(shown[0], dict):
        for value in shown:
            matches = [one for one in printed if one.get("name") == value.get("name")]
            assert matches
            assert_part_of(value, matches[0])
    elif isinstance(shown, list):
        assert len(shown) == len(printed)
        for one, other in zip(shown, printed, strict=True):
            assert_part_of(one, other)
    elif isinstance(shown, float):
        assert printed == pytest.approx(shown, rel=5e-3)  # three figures on the page
    elif isinstance(shown, str) and shown.endswith(" ..."):
        assert printed.startswith(shown.removesuffix("..."))  # a sentence longer than a line of the page
    else:
        assert shown == printed


@pytest.mark.parametrize(("arguments", "name"), COMMANDS, ids=[name for _, name in COMMANDS])
def test_keys_and_example(tmp_path: Path, arguments: tuple[str, ...], name: str) -> None:
    if arguments[0] == "box":
        assert run(["rig", "new"], tmp_path).code == 0
    printed = json.loads(run([*arguments, "--json"], tmp_path).out)
    assert (printed["format"], printed["version"]) == (name, 1)
    assert set(printed) == keys_on_the_page(name)
    text = section(name)
    if name != "coincide-bench-result":  # its parts are told with the record
        assert nested_keys(printed) <= set(re.findall(r"`(\w+)`", text))
    for example in re.findall(r"```json\n(.*?)```", text, flags=re.DOTALL):
        assert_part_of(json.loads(example), printed)


def test_the_examples_are_there() -> None:
    without = [name for _, name in COMMANDS if "```json" not in section(name)]
    assert without == ["coincide-wiring-draw-result", "coincide-bench-result"]


def test_json_belongs_behind_the_subcommand(tmp_path: Path) -> None:
    ran = run(["wiring", "--json", "parts"], tmp_path)
    assert ran.code == 2
    assert "coincide wiring parts --json" in ran.err
