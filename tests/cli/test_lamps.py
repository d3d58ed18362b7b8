"""The lamp row at the command line: frames taken on the simulated box, read, worked out, kept."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from coincide.rig.calibration import calibrations_beside
from coincide.session.file import read_session
from coincide.session.lamps import frames_of
from coincide.timing.lamps.series import read_lamps
from tests.cli.pages import console_blocks
from tests.cli.running import Ran, run
from tests.cli.test_json_on_the_page import keys_on_the_page
from tests.rig.rigs import REMOVE, text_with

MS = 1e-3


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("lamps")
    blind: dict[str, object] = {
        f"bodies.{letter}.{key}": value
        for letter in "ab"
        for key, value in (("wind", "motor"), ("sync", "none"), ("sensors.gate_1", REMOVE))
    }
    (made / "rig.toml").write_text(text_with(blind), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def fired(folder: Path) -> Ran:
    ran = run(["lamps", "fire", "-n", "8", "--out", "lamps.jsonl"], folder)
    assert ran.code == 0, ran.said
    return ran


def printed(ran: Ran) -> Any:
    assert ran.code == 0, ran.said
    return json.loads(ran.out)


def test_blind_bodies_are_measured(folder: Path, fired: Ran) -> None:
    """The demo's bodies, with nothing on them that the box could see: Bittern is 20 ms late and dawdles at its
    first shot only."""
    assert "Bittern (B) exposes" in fired.out
    assert "Delay Lapwing (A) by" in fired.out
    assert "spends 9 frames" in fired.err
    found = printed(run(["lamps", "show", "lamps.jsonl", "--json"], folder))
    assert found.keys() == keys_on_the_page("coincide-lamps-result")
    skew = found["quantities"][0]
    assert abs(skew["value_s"] - 0.0201) <= skew["expanded_s"]
    assert found["pairs_used"] == 8
    assert len(found["pairs"]) == 9


def test_the_file_alone_gives_the_same_answer(folder: Path, fired: Ran) -> None:
    found = printed(run(["lamps", "show", "lamps.jsonl", "--json"], folder))
    assert read_lamps(read_session(folder / "lamps.jsonl")).skew.value_s == found["quantities"][0]["value_s"]


def test_an_offset_takes_the_skew_away(folder: Path, fired: Ran) -> None:
    """With the offset on the frames show the same lamps, and the skew without it is still told."""
    ran = run(["lamps", "fire", "-n", "6", "--offset", "A 20ms", "--out", "on.jsonl", "--json"], folder)
    skew = printed(ran)["quantities"][0]
    assert abs(skew["value_s"] - 0.0201) <= skew["expanded_s"] + 0.5 * MS


def test_electronic_shutters_have_no_other_way(tmp_path: Path) -> None:
    electronic = {"kind": "electronic", "exposure": "1/125", "readout": "20 ms", "sweep": "top to bottom"}
    blind: dict[str, object] = {
        f"bodies.{letter}.{key}": value
        for letter in "ab"
        for key, value in (
            ("wind", "motor"),
            ("sync", "none"),
            ("shutter", electronic),
            ("sensors.gate_1", REMOVE),
        )
    }
    (tmp_path / "rig.toml").write_text(text_with(blind), encoding="utf-8")
    ran = run(["lamps", "fire", "-n", "5", "--world", "electronic shutters", "--json"], tmp_path)
    found = printed(ran)
    assert found["quantities"][0]["budget"]["expanded_s"] < 4 * MS
    exposures = [one for one in found["quantities"] if one["quantity"] == "exposure"]
    assert all(abs(one["value_s"] - 2**-7) <= one["expanded_s"] for one in exposures)


def test_frames_are_taken_down_one_by_one(folder: Path, fired: Ran) -> None:
    before = read_session(folder / "lamps.jsonl")
    (folder / "twin.jsonl").write_bytes((folder / "lamps.jsonl").read_bytes())
    ran = run(["lamps", "read", "twin.jsonl", "--frame", "3 a 7?", "--frame", "3 B 29-3"], folder)
    assert ran.code == 0, ran.said
    assert len(read_session(folder / "twin.jsonl").remarks) == len(before.remarks) + 2
    ran = run(["lamps", "read", "twin.jsonl", "--frame", "4 B none"], folder)
    assert "without a first and a last lamp: 4" in " ".join(ran.out.split())


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("lamps", "read", "lamps.jsonl", "--frame", "3 C 1-2"), "is not understood"),
        (("lamps", "read", "lamps.jsonl", "--frame", "99 A 1-2"), "has no pair 99"),
        (("lamps", "read", "lamps.jsonl", "--frame", "3 A 1-40"), "lamps 1 to 32, not 40"),
        (("lamps", "fire", "--step", "0.5 ms"), "every lamp would be lit"),
        (("lamps", "show", "nowhere.jsonl"), "nowhere.jsonl"),
    ],
)
def test_wrong_entries_are_answered_in_a_sentence(
    folder: Path, fired: Ran, arguments: tuple[str, ...], says: str
) -> None:
    ran = run(arguments, folder)
    assert ran.code == 2
    assert says in " ".join(ran.err.split())
    assert "Traceback" not in ran.said


def test_a_session_of_another_kind_is_not_taken(folder: Path) -> None:
    assert run(["series", "-n", "5", "--out", "series.jsonl"], folder).code in (0, 1)
    ran = run(["lamps", "show", "series.jsonl"], folder)
    assert ran.code == 2
    assert "coincide report" in ran.err
    assert run(["lamps", "read", "series.jsonl", "--frame", "1 A 1-2"], folder).code == 2


def test_what_was_found_is_kept_for_the_box(folder: Path, fired: Ran) -> None:
    ran = run(["lamps", "show", "lamps.jsonl", "--keep", "rig.toml"], folder)
    assert ran.code == 0, ran.said
    found, complaints = calibrations_beside(folder / "rig.toml")
    assert not complaints
    kept = found[0].calibration
    assert kept.how == "lamps+lamps"
    assert 15 * MS < kept.offset_s < 25 * MS
    assert run(["box", "settings", "--store"], folder).code == 0


def test_a_frame_whose_lamps_are_all_lit_tells_nothing(folder: Path) -> None:
    """On the simulated box as on film: nobody can say which lamp came first."""
    from coincide.box.simulated.lamps import LampRun

    run_of_it = LampRun(0.0, 0.001, 32, 10)
    assert run_of_it.on_film(0.010, 0.045) is None
    assert run_of_it.on_film(0.0302, 0.0341) == (30, 2)
    assert run_of_it.on_film(0.01098, 0.0145) == (11, 14)


def test_a_report_of_the_same_file_does_not_tell_frame_by_frame(folder: Path, fired: Ran) -> None:
    ran = run(["report", "lamps.jsonl", "--to", "r"], folder)
    assert ran.code == 0, ran.said
    assert "Pair 1: row of 32 lamps" not in ran.out


def test_the_page_shows_what_the_commands_print(tmp_path: Path) -> None:
    """Every example of the page, in its order."""
    assert run(["rig", "new"], tmp_path).code == 0
    for words, shown in console_blocks("row-of-lamps.md"):
        ran = run(words, tmp_path)
        assert ran.code == 0, ran.said
        printed_words = " ".join(ran.out.split())
        for part in shown:
            assert part in printed_words


def test_a_run_that_stops_says_so_and_keeps_what_there_is(folder: Path) -> None:
    ran = run(["lamps", "fire", "-n", "6", "--world", "interlock open", "--out", "stopped.jsonl"], folder)
    assert ran.code == 3
    assert "stopped at pair 1" in " ".join(ran.err.split())
    assert (folder / "stopped.jsonl").exists()


def test_one_miscounted_frame_is_named_and_moves_nothing(folder: Path, fired: Ran) -> None:
    """One lamp counted far too late in one frame of eight: said, left out, and the answer stays."""
    (folder / "again.jsonl").write_bytes((folder / "lamps.jsonl").read_bytes())
    before = printed(run(["report", "again.jsonl", "--json"], folder))
    assert before["format"] == "coincide-lamps-result"
    frame = frames_of(read_session(folder / "again.jsonl"))[(5, 0)]
    assert frame.first is not None
    assert frame.last is not None
    assert (
        run(["lamps", "read", "again.jsonl", "--frame", f"5 A {frame.first}-{frame.last + 8}"], folder).code
        == 0
    )
    after = printed(run(["lamps", "show", "again.jsonl", "--json"], folder))
    assert any("Pair 5 is left out" in said and "miscounted" in said for said in after["noticed"])
    assert after["pairs_used"] == before["pairs_used"] - 1
    assert abs(after["quantities"][0]["value_s"] - before["quantities"][0]["value_s"]) < 0.0002
    assert after["expected_keepers"] > before["expected_keepers"] - 0.02


@pytest.fixture(scope="module")
def fifteen(folder: Path) -> Path:
    """Fifteen pairs with a fast row."""
    ran = run(["lamps", "fire", "-n", "15", "--seed", "4", "--out", "fifteen.jsonl"], folder)
    assert ran.code == 0, ran.said
    return folder / "fifteen.jsonl"


def test_a_count_begun_at_a_wrong_lamp_is_named_and_moves_neither_offset_nor_keepers(fifteen: Path) -> None:
    """One frame of fifteen, first and last lamp both three too late, so that its span tells nothing."""
    folder = fifteen.parent
    before = printed(run(["report", "fifteen.jsonl", "--json"], folder))
    assert before["pairs_used"] == 15, "none is left out of an honest session"
    (folder / "slip.jsonl").write_bytes(fifteen.read_bytes())
    frame = frames_of(read_session(fifteen))[(9, 1)]
    assert frame.first is not None
    assert frame.last is not None
    slip = f"9 B {(frame.first + 2) % 32 + 1}-{(frame.last + 2) % 32 + 1}"
    told = run(["lamps", "read", "slip.jsonl", "--frame", slip], folder)
    assert "Pair 9 is left out of offset and keepers" in " ".join(told.out.split())
    assert "on the frame of Bittern (B)" in " ".join(told.out.split())
    for command in (["report"], ["lamps", "show"]):
        after = printed(run([*command, "slip.jsonl", "--json"], folder))
        skew, was = after["quantities"][0], before["quantities"][0]
        assert after["pairs_used"] == 14
        assert abs(skew["value_s"] - was["value_s"]) < 0.25 * was["expanded_s"]
        assert abs(after["expected_keepers"] - before["expected_keepers"]) < 0.02
    # Who has looked again and sees the same is believed.
    run(["lamps", "read", "slip.jsonl", "--frame", slip], folder)
    assert printed(run(["lamps", "show", "slip.jsonl", "--json"], folder))["pairs_used"] == 15
