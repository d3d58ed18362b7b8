"""Options take values as people write them; what cannot be read names the option and what would do."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click
import pytest

from coincide.cli.terminal.quantities import APERTURE, LENGTH, SHARE, SPEED, TIME, TURNING
from coincide.errors import BadInput
from coincide.report.words.numbers import offset_from_text
from tests.cli.running import run


@pytest.mark.parametrize(
    ("kind", "texts", "expected"),
    [
        (APERTURE, ["f/8", "f8", "F/8", "f 8", "ƒ/8", "f:8"], 8.0),
        (APERTURE, ["f/2.8", "1:2.8", "f/2,8"], 2.8),
        (SHARE, ["0.9", ".9", "0,9", "90%", "90 %", "90 percent"], 0.9),
        (LENGTH, ["35mm", "35 mm", "3.5 cm", "35 millimetres"], 0.035),
        (TIME, ["18ms", "18 ms", "0.018 s", "18 milliseconds", "18000 µs"], 0.018),
        (SPEED, ["15 km/h", "15km/h", "15 kmh", "15 kph"], 15 / 3.6),
        (TURNING, ["tripod", "0 deg/s"], 0.0),
    ],
)
def test_one_value_written_in_many_ways(
    kind: click.ParamType[Any], texts: list[str], expected: float
) -> None:
    for text in texts:
        assert kind.convert(text, None, None) == pytest.approx(expected, rel=1e-12), text


@pytest.mark.parametrize("text", ["A 18.2ms", "a 18.2 ms", "A18.2ms", "A: 18.2 ms", "A=18.2ms", "18.2ms A"])
def test_an_offset_in_many_ways(text: str) -> None:
    assert offset_from_text(text) == pytest.approx(0.0182)
    assert offset_from_text(text.replace("A", "B").replace("a", "b")) == pytest.approx(-0.0182)


@pytest.mark.parametrize("text", ["18.2ms", "C 18ms", "A", "A eighteen", "A 3 kg", "A 18", "AB 3 ms"])
def test_what_is_no_offset(text: str) -> None:
    with pytest.raises(BadInput, match=r"A 18\.2ms|a time such as"):
        offset_from_text(text)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["limits", "--distance", "10"], "--distance: '10' has no unit: a length such as"),
        (["limits", "--distance", "10 s"], "is a time: a length such as"),
        (["limits", "--keepers", "90"], "such as 0.9 or '90 %'"),
        (["limits", "--turning", "fast"], "Or one of: tripod"),
        (["exposure", "1/250", "f/zero"], "f/zero"),
        (["budget", "--subject-speed", "quick"], "a speed such as '5 km/h'"),
        (["series", "--offset", "18"], "such as 'A 18.2ms'"),
        (["watch", "--gap", "half a second"], "a time such as"),
        (["box", "instal"], "'install'"),
        (["rig", "chek"], "'check'"),
        (["series", "--ofset", "A 3ms"], "'--offset'"),
        (["calibrate", "--world", "twin cabel"], "twin cable"),
    ],
)
def test_a_near_miss_is_answered_in_a_sentence(tmp_path: Path, arguments: list[str], says: str) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    ran = run(arguments, tmp_path)
    assert ran.code == 2
    assert says in ran.err
    assert "Traceback" not in ran.said


def test_a_quantity_without_its_quotes_and_a_file_of_another_kind_are_named(tmp_path: Path) -> None:
    assert run(["rig", "new"], tmp_path).code == 0
    for words in (
        ["limits", "--subject-speed", "15", "km/h"],
        ["ghost", "--thing", "57", "um", "15 km/h", "15 m"],
    ):
        ran = run(words, tmp_path)
        assert ran.code == 2
        assert re.search(r'write "(15 km/h|57 um)" in quotes', ran.err), ran.err
    assert "is a rig file, and no session" in run(["report", "rig.toml"], tmp_path).err
    (tmp_path / "bare.toml").write_text('format = "coincide-rig"\nname = fen rig\n', "utf-8")
    assert 'in quotes: name = "fen rig"' in run(["rig", "check", "bare.toml"], tmp_path).err
