"""A report writes what was asked for and no more, and says when the box's clock went back."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.running import run


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("asked")
    assert run(["rig", "new"], made).code == 0
    assert run(["series", "-n", "12", "--out", "s.jsonl"], made).code == 0
    return made


def there(folder: Path) -> set[str]:
    return {str(one.relative_to(folder)) for one in folder.rglob("*")}


def test_json_draws_nothing_unless_asked(folder: Path) -> None:
    before = there(folder)
    ran = run(["report", "s.jsonl", "--json"], folder)
    assert ran.code == 0
    assert json.loads(ran.out)
    assert there(folder) == before
    asked = run(["report", "s.jsonl", "--json", "--to", "pictures"], folder)
    assert asked.code == 0
    assert json.loads(asked.out)
    assert any(name.endswith(".png") for name in there(folder) - before)
    assert any(name.endswith(".html") for name in there(folder) - before)


def test_a_clock_that_went_back_is_said_with_its_place(folder: Path) -> None:
    """As if the box had been started anew after pair 6: its ticks begin at nought again."""
    lines = [json.loads(line) for line in (folder / "s.jsonl").read_text("utf-8").splitlines()]
    begun = {line["shot"]: line["start"] for line in lines if "shot" in line}
    for line in lines:
        if line.get("shot", 0) >= 7:
            line["start"] -= begun[7]
    again = folder / "again.jsonl"
    again.write_text("".join(json.dumps(line) + "\n" for line in lines), "utf-8")
    said = " ".join(run(["report", "again.jsonl", "--to", "again"], folder).said.split())
    assert "clock went back between pairs 6 and 7" in said
    assert "Skews are not touched by it" in said
    steady = run(["report", "s.jsonl", "--to", "steady"], folder)
    assert "went back" not in steady.said
