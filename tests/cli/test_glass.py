"""`coincide glass` and `coincide infrared`: what they answer, and what their page shows."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.cli.fen import answer, changed, documented, fen_rig
from tests.cli.pages import console_blocks
from tests.cli.running import run


@pytest.fixture(scope="module")
def fen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with rig and calibration."""
    return fen_rig(tmp_path_factory.mktemp("fen")).parent


@pytest.mark.parametrize(
    ("words", "shown"), console_blocks("glass.md"), ids=lambda value: " ".join(value)[:40]
)
def test_the_page_shows_what_the_commands_print(fen: Path, words: list[str], shown: list[str]) -> None:
    assert " ".join(run(words, fen).out.split()) == shown[0]


def test_both_as_json_are_documented(fen: Path) -> None:
    documented(answer(run(["glass", "--json"], fen)), "glass")
    documented(answer(run(["infrared", "--json"], fen)), "infrared")


def test_a_glass_that_is_too_small_is_a_no(fen: Path) -> None:
    small = changed(fen, "small", ('length = "120 mm"', 'length = "100 mm"'))
    ran = run(["glass", "--rig", small], fen)
    assert ran.code == 1
    assert ran.out.splitlines()[0].startswith("The glass is too small")
    assert "at the top of the scene" in ran.out


def test_a_pupil_out_of_place_is_a_no(fen: Path) -> None:
    away = changed(fen, "away", ('pupil = "88 mm"', 'pupil = "93 mm"'))
    ran = run(["glass", "--rig", away], fen)
    assert ran.code == 1
    assert "stands 4.8 mm out of place" in ran.out.splitlines()[0]


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('pupil = "90 mm"\n', "", "bodies.b.mount.pupil is missing"),
        ("[splitter.plate]\nthickness", "[splitter.plate]\nthicknes", "did you mean 'thickness'"),
        ('coated = "front"', 'near_edge = "500 mm"', "larger than 'length'"),
    ],
)
def test_what_is_missing_is_named(fen: Path, old: str, new: str, said: str) -> None:
    ran = run(["glass", "--rig", changed(fen, "wrong", (old, new))], fen)
    assert ran.code == 2
    assert said in ran.err


def test_the_drawing(fen: Path) -> None:
    ran = run(["glass", "--to", "drawn", "--json"], fen)
    assert [Path(one).name for one in answer(ran)["pictures"]] == ["glass.pdf", "glass.png", "glass.svg"]
    assert all((fen / "drawn" / f"glass.{kind}").stat().st_size > 4000 for kind in ("pdf", "png", "svg"))


def test_the_bracket_keeps_every_preset(fen: Path) -> None:
    """The pair of shutter times is the calibrated one in every row, and the light differs by what the row says."""
    bracket = answer(run(["infrared", "--json"], fen))["bodies"][0]["bracket"]
    assert [pair["stops"] for pair in bracket] == [0, 1, -1, 2, -2]
    for pair in bracket:
        assert pair["preset"] == "1/60+1/30"
        assert pair["calibration"] is not None
        opened = (4.0 / pair["settings"][1]["aperture"]) ** 2
        assert opened == pytest.approx(2.0 ** pair["stops"], rel=0.03)


def test_a_stale_preset_is_flagged_in_the_bracket(fen: Path) -> None:
    name = changed(fen, "woken", ('lead = "300 ms"', 'lead = "500 ms"'))
    ran = run(["infrared", "--rig", name], fen)
    assert "1/60+1/30 stale" in ran.out
    assert "no longer holds, as release.lead was '0.3 s'" in " ".join(ran.out.split())
    bracket = answer(run(["infrared", "--rig", name, "--json"], fen))["bodies"][0]["bracket"]
    assert all("release.lead" in pair["stale"][0] for pair in bracket)


def test_blades_are_bracketed_by_filter(fen: Path) -> None:
    """Their aperture belongs to the preset: less light by a grey filter, more light only with another preset."""
    text = (fen / "rig.toml").read_text("utf-8")
    body_b = text.index("[bodies.b.shutter]")
    end = text.index("[bodies.b.lens]")
    leaf = (
        '[bodies.b.shutter]\nkind = "leaf"\nexposure = "1/30"\nmarked = ["1/60", "1/30"]\n'
        'opening = "2 ms"\nclosing = "2 ms"\n\n'
    )
    (fen / "leaf.toml").write_text(text[:body_b] + leaf + text[end:], "utf-8")
    for found in fen.glob("rig-calibration-*.toml"):
        (fen / found.name.replace("rig-", "leaf-", 1)).write_text(
            found.read_text("utf-8").replace("apertures = [8.0, 8.0]", "apertures = [8.0, 4.0]"), "utf-8"
        )
    bracket = answer(run(["infrared", "--rig", "leaf.toml", "--json"], fen))["bodies"][0]["bracket"]
    by_stops = {pair["stops"]: pair for pair in bracket}
    assert by_stops[-1]["how"] == "filter"
    assert by_stops[1]["calibration"] is None
