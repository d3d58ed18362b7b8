"""`recording --how`: cautions first, whether it will do, what to connect, whatever was answered."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from unittest.mock import patch

import pytest

from tests.cli.running import run

WILL = {
    "interface": "It will do. Both bodies go into one stereo file",
    "recorder": "It will do. Both bodies go into one stereo file",
    "socket": "It will do if the socket is stereo",
    "telephone": "It will hardly do",
    "analyser": "It will do, for light",
}
PATHS = [
    (have, source)
    for have in WILL
    for source in ("light", "sound")
    if (have, source) != ("analyser", "sound")
]
CIRCUITS = {
    "interface": {"recording_line.svg", "recording_microphone.svg"},
    "recorder": {"recording_line.svg", "recording_microphone.svg"},
    "socket": {"recording_microphone.svg"},
    "telephone": {"recording_microphone.svg"},
    "analyser": {"recording_analyser.svg"},
}


@pytest.mark.parametrize(("have", "source"), PATHS)
def test_every_answer_leads_to_cautions_a_verdict_and_a_drawing(
    have: str, source: str, tmp_path: Path
) -> None:
    folder = tmp_path / "drawn"
    said = run(["recording", "--how", "--have", have, f"--{source}", "--to", str(folder)], tmp_path)
    assert said.code == 0, said.said
    words = " ".join(said.out.split())
    order = [
        words.index(one)
        for one in (
            "First, what can hurt",
            "What you will know tonight",
            WILL[have],
            "Connect:",
            "Three bangs of A alone",
            "o---",
        )
    ]
    assert order == sorted(order)
    assert "touches metal of a body" in words
    assert "and no metal of any body" in words
    expected = {"recording_contact.svg"} if source == "sound" else CIRCUITS[have]
    assert {one.name for one in folder.iterdir()} == expected
    assert ("to about 2 ms, for two bodies of a kind" in words) == (source == "sound")


@pytest.mark.parametrize(
    ("answers", "word"),
    [
        ("recorder\nsound\n", "Y91A crystal"),
        ("analyser\n", "U91A signal"),
        ("telephone\nlight\n", "D91A cathode"),
    ],
)
def test_the_questions_lead_there_too(answers: str, word: str, tmp_path: Path) -> None:
    with patch.object(sys, "stdin", io.StringIO(answers)):
        said = run(["recording", "--how"], tmp_path)
    assert said.code == 0, said.said
    assert word in said.out
    assert "With --to FOLDER this is drawn." in said.out


def test_nobody_there_to_answer_is_told(tmp_path: Path) -> None:
    with patch.object(sys, "stdin", io.StringIO("")):
        said = run(["recording", "--how"], tmp_path)
    assert said.code == 2
    assert "What do you have?" in said.said
