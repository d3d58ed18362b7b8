"""Every caution is there, has its place, and is asked for again when its wording changes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from coincide.bench.opening.acknowledge import (
    acknowledge,
    acknowledged,
    acknowledgement_path,
    require_acknowledgement,
)
from coincide.errors import BadInput
from coincide_wiring import cautions
from coincide_wiring.cautions import CAUTIONS, PLACES, as_markdown, card_lines, cautions_for, digest
from coincide_wiring.check.terminal import DIRECT_LIMIT_V

DOC = Path(__file__).parents[2] / "docs" / "cautions.md"


@pytest.mark.parametrize(
    "words",
    [
        "never open a camera body or a flash",
        "lethal charge",
        "built-in",
        "0 v is no blessing",
        "continuity",
        "polarity",
        "600 v",
        "never join the plain circuit",
        "no flash on the sync contact while the box is on it",
        "different voltages",
        "solenoid gets hot",
        "mains",
        "infrared",
        "never through a finder",
        "never touch curtains",
        "no hot lamp and no focused sun",
        "no laser",
        "take the film out before opening the back",
        "local electrical code",
        "licensed technician",
    ],
)
def test_nothing_of_the_usual_cautions_is_missing(words: str) -> None:
    assert any(words in one.say.lower() for one in CAUTIONS), words


def test_every_place_has_cautions_and_every_caution_a_place() -> None:
    assert {one.place for one in CAUTIONS} == set(PLACES)
    assert len({one.key for one in CAUTIONS}) == len(CAUTIONS)
    with pytest.raises(KeyError):
        cautions_for("kitchen")


def test_the_card_carries_what_can_kill() -> None:
    lines = " ".join(card_lines())
    assert "flash" in lines
    assert "never join the plain circuit" in lines


def test_the_limits_in_the_text_are_the_limits_in_force() -> None:
    (limit,) = [one for one in CAUTIONS if one.key == "above-limit"]
    assert f"{DIRECT_LIMIT_V['sync']:g} V on a sync" in limit.say
    assert f"{DIRECT_LIMIT_V['release']:g} V on a release" in limit.say


def test_acknowledgement_is_kept_once_and_lapses_with_the_wording(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(BadInput, match="--acknowledge"):
        require_acknowledgement(tmp_path)
    acknowledge(tmp_path)
    require_acknowledgement(tmp_path)
    assert acknowledged(tmp_path)
    monkeypatch.setattr(cautions, "CAUTIONS", (replace(CAUTIONS[0], say="Other words."), *CAUTIONS[1:]))
    assert not acknowledged(tmp_path)


@pytest.mark.parametrize("spoiled", ["", "{", "[]", "null", '{"cautions": 3}', "\x00\xff"])
def test_a_spoiled_file_counts_as_no_acknowledgement(tmp_path: Path, spoiled: str) -> None:
    path = acknowledgement_path(tmp_path)
    path.write_bytes(spoiled.encode("latin-1"))
    assert not acknowledged(tmp_path)
    acknowledge(tmp_path)
    assert acknowledged(tmp_path)


def test_a_directory_that_cannot_be_made_is_said_in_words(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(BadInput, match="could not be kept"):
        acknowledge(blocked)


def test_the_document_holds_every_caution_as_it_stands() -> None:
    assert as_markdown() in DOC.read_text(encoding="utf-8")
    assert len(digest()) == 16
