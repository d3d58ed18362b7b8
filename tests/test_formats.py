"""The examples on the page about files are real: they are read here, and say what the page says of them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from coincide.rig.calibration import parse_calibration
from coincide.rig.check import doubts
from coincide.rig.file import parse_rig
from coincide.rig.model import Body, Rig
from coincide.rig.parts import Electronic, ElectronicFirstCurtain, FocalPlane, Leaf
from coincide.session.file import read_session
from coincide.session.shots import shots_from_session

PAGE = (Path(__file__).parents[1] / "docs" / "formats.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)


def test_the_rig_on_the_page_is_read() -> None:
    rig = parse_rig(blocks("toml")[0], "docs/formats.md")
    assert rig.exposures == ("1/125", "1/125")
    assert not [doubt for doubt in doubts(rig) if "confusion" not in doubt]


def test_the_session_on_the_page_is_read_and_says_what_the_page_says(tmp_path: Path) -> None:
    path = tmp_path / "s.jsonl"
    path.write_text(blocks("jsonl")[0], encoding="utf-8")
    session = read_session(path)
    assert session.torn is None
    assert [remark.kind for remark in session.remarks] == ["fault"]
    shots = shots_from_session(session)
    assert shots.sync_s[0, 0] - shots.full_s[0, 0] == pytest.approx(0.0595)


def test_the_calibration_on_the_page_is_read() -> None:
    calibration = parse_calibration(blocks("toml")[1])
    assert calibration.preset == "1/60+1/30"
    assert calibration.offset_s == 0.0182


def aliases(model: type[BaseModel]) -> set[str]:
    return {field.alias or name for name, field in model.model_fields.items()}


@pytest.mark.parametrize("model", [Rig, Body, FocalPlane, Leaf, Electronic, ElectronicFirstCurtain])
def test_every_key_of_a_rig_is_on_the_page(model: type[BaseModel]) -> None:
    table = PAGE[PAGE.index("### Keys") : PAGE.index("## The session")]
    seen: set[type[BaseModel]] = set()

    def check(one: type[BaseModel]) -> None:
        if one in seen:
            return
        seen.add(one)
        for key in aliases(one):
            assert re.search(rf"\b{key}\b", table), f"{one.__name__}.{key}"
        for field in one.model_fields.values():
            for inner in models_in(field.annotation):
                check(inner)

    check(model)


def models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in models_in(part)]
