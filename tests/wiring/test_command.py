"""`coincide wiring`: every subcommand answers, its JSON is whole, its exit codes tell."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from coincide.bench.opening import acknowledge as keeping
from coincide.cli.terminal.topics.wiring_words import volts as typed_volts
from coincide.cli.wiring import command
from coincide_wiring.draw.schematics import drawn_sheets
from coincide_wiring.netlist import Build, digest


def run(*words: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(command, words, input=typed)


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ((), "circuit by circuit"),
        (("parts",), "Photorelay"),
        (("figures",), "LED current of the release"),
        (("pins",), "interlock"),
        (("cautions",), "lethal"),
        (("cautions", "--at", "solenoid"), "hot"),
        (("check",), "Sound"),
        (("check", "--sync-a", "wetted", "--release-b", "solenoid"), "Sound"),
    ],
)
def test_each_answers_in_words(words: tuple[str, ...], expected: str) -> None:
    answer = run(*words)
    assert answer.exit_code == 0, answer.output
    assert expected in answer.output


EVERY_BOARD = ["layout", "--to", "boards"]


@pytest.mark.soak
def test_every_board_is_drawn(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    answer = run(*EVERY_BOARD)
    assert answer.exit_code == 0, answer.output
    assert len(list((tmp_path / "boards").glob("*.pdf"))) > 10


@pytest.mark.parametrize("name", sorted(command.commands))
def test_each_help_has_an_example_that_works(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(keeping, "user_config_path", lambda *_, **__: tmp_path)
    text = run(name, "--help").output
    examples = [line.split()[2:] for line in text.splitlines() if line.strip().startswith("coincide wiring")]
    assert examples, f"'{name}' has no example"
    for words in examples:
        if words == EVERY_BOARD:
            continue  # half a minute of drawing: below
        asks = words == ["terminal", "sync"]
        answer = run(*words, typed="y\ny\nn\n0\n0\ny\ny\n" if asks else None)
        assert answer.exit_code == 0, answer.output


def test_json_is_one_object_and_says_the_same() -> None:
    sound = json.loads(run("check", "--json").output)
    assert (sound["sound"], sound["faults"], sound["wiring_digest"]) == (True, [], digest(Build()))
    computed = json.loads(run("figures", "--json").output)
    assert all(one["inside"] for one in computed["figures"])
    assert computed["timing_terms"]["sync"]["after"]
    assert len(json.loads(run("pins", "--json").output)["pins"]) == 21
    assert json.loads(run("parts", "--json").output)["parts"][0]["quantity"] == 1
    assert json.loads(run("cautions", "--json").output)["cautions"]
    assert json.loads(run("terminal", "sync", "--volts", "3", "--json").output)["circuit"] == "wetted"


@pytest.mark.parametrize(
    ("words", "typed", "code", "expected"),
    [
        (("terminal", "sync", "--volts", "230"), None, 1, "never join this terminal directly"),
        (("terminal", "sync", "--volts", "0"), None, 1, "no blessing"),
        (("terminal", "sync", "--volts", "inf"), None, 1, "over the meter's range"),
        (("terminal", "release", "--volts", "4.9"), None, 0, "polarity-free"),
        (("terminal", "sync", "--volts", "2", "--alternating"), None, 1, "licensed"),
        (("terminal", "sync"), "n\n", 1, "lethal"),
        (("terminal", "sync"), "y\ny\nn\n-180\n", 1, "high-voltage"),
        (("terminal", "release"), "y\ny\nn\n5\ny\n4.5 mA\n", 0, "contact"),
        (("terminal", "sync"), "y\ny\nn\n3.1\n3.1\ny\nn\n", 0, "centre positive"),
        (("terminal", "sync", "--json"), None, 2, "guided check asks a person"),
        (("terminal", "bellows"), None, 2, "neither of the two terminals"),
        (("terminal", "flash", "--volts", "12"), None, 1, "12 V: more than the plain circuit"),
        (("terminal", "Hot Shoe", "--volts", "24"), None, 1, "more than the plain circuit"),
        (("terminal", "release", "--volts", "12"), None, 1, "one a flash would fit"),
        (("terminal", "release"), "y\ny\nn\n12\nn\n", 1, "judged as a flash contact"),
        (("terminal", "cable"), None, 2, "neither of the two terminals"),
        (("parts", "--sync-a", "laser"), None, 2, "laser"),
        (("draw",), None, 2, "--to"),
        (("cautions", "--at", "arm", "--acknowledge"), None, 2, "all of them"),
    ],
)
def test_exit_codes_tell(words: tuple[str, ...], typed: str | None, code: int, expected: str) -> None:
    answer = run(*words, typed=typed)
    assert answer.exit_code == code, answer.output
    assert expected in answer.output.replace("\n", " ")


@pytest.mark.parametrize(
    ("typed", "volts"),
    [("3.1", 3.1), ("3,1", 3.1), ("-180 V", -180.0), (" +4.8v ", 4.8), ("OL", math.inf), ("-OL", -math.inf)],
)
def test_a_reading_is_taken_as_people_type_it(typed: str, volts: float) -> None:
    assert typed_volts(typed) == volts


def test_a_reading_that_is_none_is_asked_for_again() -> None:
    answer = run("terminal", "release", typed="y\ny\nn\nlots\n5\ny\n4.5\n")
    assert answer.exit_code == 0
    assert "'lots' is no reading" in answer.output
    assert "tell the box: 'coincide box check --release-a contact'" in answer.output.replace("\n", " ")


def test_nothing_is_taken_for_granted_by_enter_alone() -> None:
    answer = run("terminal", "release", typed="\ny\ny\nn\n5\n\ny\n4.5\n")
    assert answer.output.count("[y/n]") == 6
    assert answer.exit_code == 0


@pytest.mark.parametrize("word", ["flash", "PC", "X", "x-sync", "hot shoe", "PC socket", "X contact"])
def test_the_trades_words_for_a_flash_terminal_lead_to_the_stricter_table(word: str) -> None:
    for volts in ("3.1", "12", "30", "180"):
        assert (
            run("terminal", word, "--volts", volts).output == run("terminal", "sync", "--volts", volts).output
        )


@pytest.mark.parametrize("word", ["flush", "rilease", "relais", "synch", "pcc", "flashh"])
def test_a_misspelt_terminal_gets_no_guess_at_all(word: str) -> None:
    answer = run("terminal", word, "--volts", "12")
    assert answer.exit_code == 2
    assert "Did you mean" not in answer.output
    assert "'sync', where a flash" in answer.output.replace("\n", " ").replace("  ", " ")


def test_draw_writes_every_schematic(tmp_path: Path) -> None:
    answer = run("draw", "--to", str(tmp_path / "new folder"))
    assert answer.exit_code == 0
    assert len(list((tmp_path / "new folder").iterdir())) == len(drawn_sheets())


def test_draw_for_the_other_body_and_for_the_circuits_named(tmp_path: Path) -> None:
    def drawn(*words: str) -> set[str]:
        folder = tmp_path / "-".join(words)
        answer = run("draw", "--to", str(folder), *words)
        assert answer.exit_code == 0, answer.output
        return {one.stem for one in folder.iterdir()}

    assert {"release_b", "sync_wetted_b", "gate_through_lens_b1", "board"} <= drawn("--body", "B")
    mine = drawn("--sync-a", "wetted", "--release-b", "solenoid")
    assert {"sync_wetted_a", "sync_cell_b", "solenoid_b", "gate_transimpedance_b1"} <= mine
    assert not {"sync_cell_a", "solenoid_a", "gate_load_a1"} & mine


def test_draw_into_a_file_is_refused_in_words(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    answer = run("draw", "--to", str(tmp_path / "file"))
    assert answer.exit_code == 2


def test_acknowledging_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(keeping, "user_config_path", lambda *_, **__: tmp_path)
    assert not keeping.acknowledged()
    assert run("cautions", "--acknowledge").exit_code == 0
    assert keeping.acknowledged()
