"""Planning at the command line: the sentences carry the right numbers, worked out here by other means."""

from __future__ import annotations

import math
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from tests.cli.fen import answer, changed, documented, fen_rig, results_page
from tests.cli.running import Ran, run

# The fen rig and the calibration in docs/formats.md, by hand.
CONFUSION_M = math.hypot(36e-3, 24e-3) / 1442
HALF_DIAGONAL_M = math.hypot(36e-3, 24e-3) / 2
LENS_M = 0.035
JITTER_S, OFFSET_U_S = 0.0011, 0.0003 / 1.959964
SPREAD_S = math.hypot(JITTER_S, OFFSET_U_S)
SKEW_90_S = 1.644854 * SPREAD_S  # 90 % of a normal lie within 1.645 deviations
UNEQUAL_S = (1 / 32 - 1 / 64) / 2
CYCLIST_M_S = 15 / 3.6


@pytest.fixture(scope="module")
def fen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with rig and calibration."""
    return fen_rig(tmp_path_factory.mktemp("fen")).parent


@pytest.fixture
def bare(tmp_path: Path) -> Path:
    """A folder with a rig that was never calibrated."""
    assert run(["rig", "new"], tmp_path).code == 0
    return tmp_path


def numbers(line: str) -> list[float]:
    return [float(word) for word in re.findall(r"-?\d+(?:\.\d+)?", line)]


def line_with(ran: Ran, *words: str) -> str:
    return next(line for line in ran.out.splitlines() if all(word in line for word in words))


# ---- limits ------------------------------------------------------------------------------------------


def test_the_table_of_limits(fen: Path) -> None:
    ran = run(["limits"], fen)
    assert ran.code == 1, ran.said  # the rig's own cyclist is not kept: his own blur rules
    b_m = LENS_M * 10 / (10 - LENS_M)
    row = numbers(line_with(ran, " 10  "))
    kept, free, across = (
        CONFUSION_M * 10 / (b_m * seconds) for seconds in (1 / 32, SKEW_90_S + UNEQUAL_S, SKEW_90_S)
    )
    towards = CONFUSION_M * 10 / (HALF_DIAGONAL_M / 32)
    assert row[1:5] == pytest.approx([kept, towards, free, across], rel=0.03)
    assert f"{SKEW_90_S * 1e3:.2f} ms in frame centre" in ran.out
    walker = numbers(line_with(ran, "walker"))
    sharp, free, alone = (
        LENS_M * (1 + 1.8 * seconds / CONFUSION_M) for seconds in (1 / 32, SKEW_90_S + UNEQUAL_S, SKEW_90_S)
    )
    assert walker[-4:] == pytest.approx([sharp, sharp, free, alone], rel=0.02)
    assert "all rough" in ran.out
    assert "4.7 scan pixels" in ran.out


def test_limits_as_json_have_every_key_on_the_page(fen: Path) -> None:
    found = answer(run(["limits", "--json", "--lens", "50mm", "--lens", "9 cm"], fen))
    assert found["format"] == "coincide-limits-result"
    assert found["version"] == 1
    assert found["focal_lengths_m"] == [0.05, 0.09]
    assert found["skew_s"] == pytest.approx(SKEW_90_S, rel=1e-4)
    at = found["distances_m"].index(20)
    assert found["across_m_s"][at][1] == pytest.approx(
        CONFUSION_M * (20 - 0.09) / (0.09 * SKEW_90_S), rel=1e-4
    )
    documented(found, "limits", basis=True)


@pytest.mark.parametrize(("keepers", "deviations"), [("0.5", 0.67449), ("99 %", 2.575829), ("68.27%", 1.0)])
def test_the_keeper_rate_as_people_write_it(fen: Path, keepers: str, deviations: float) -> None:
    found = answer(run(["limits", "--json", "--keepers", keepers], fen))
    assert found["skew_s"] == pytest.approx(deviations * SPREAD_S, rel=1e-3)


@pytest.mark.parametrize(
    ("speed", "distance", "code"), [("15 km/h", "160 m", 0), ("25 km/h", "8 m", 1), ("1.4 m/s", "400 cm", 1)]
)
def test_one_subject_asked_about(fen: Path, speed: str, distance: str, code: int) -> None:
    words = ["--subject-speed", speed, "--distance", distance]
    asked = answer(run(["limits", *words, "--json"], fen))["subject"]
    v, d = asked["speed_m_s"], asked["distance_m"]
    scale_m = (15 + math.sqrt(15 * (15 - 4 * LENS_M))) / 2  # where the lens is focused, from itself
    b_m = LENS_M * scale_m / (scale_m - LENS_M)
    assert asked["skew_needed_s"] == pytest.approx(CONFUSION_M * d / (b_m * v), rel=1e-6)
    assert asked["kept_from_m"] == pytest.approx(LENS_M * (1 + v / 32 / CONFUSION_M), rel=1e-4)
    assert asked["nearest_m"] == pytest.approx(LENS_M * (1 + v * SKEW_90_S / CONFUSION_M), rel=1e-4)
    # The longest lens is the one whose own image of the subject moves by just the circle of confusion.
    f_m = asked["longest_lens_m"]
    assert f_m / (d - f_m) * v * SKEW_90_S == pytest.approx(CONFUSION_M, rel=0.01)
    ran = run(["limits", *words], fen)
    assert ran.code == code
    assert ("Not kept" in ran.out) == bool(code)
    assert run(["budget", *words], fen).code == code  # one verdict


@pytest.mark.parametrize("words", [[], ["--corner"], ["--turning", "held"], ["--distance", "160 m"]])
def test_limits_and_budget_say_the_same_of_the_same_subject(fen: Path, words: list[str]) -> None:
    limits, budget = (answer(run([command, *words, "--json"], fen)) for command in ("limits", "budget"))
    assert limits["subject"]["verdict"] == budget["verdict"]
    ran = [run([command, *words], fen) for command in ("limits", "budget")]
    assert ran[0].code == ran[1].code
    sentences = budget["verdict"]["say"]
    assert all(sentence in one.out for sentence in sentences for one in ran)


def test_the_cyclists_own_blur_is_said_and_rules(fen: Path) -> None:
    ran = run(["budget"], fen)
    assert "own motion blur is 152 um in Lapwing and 305 um in Bittern" in ran.out
    assert "Blur rules here, not skew" in ran.out
    card = answer(run(["card", "--to", "plan", "--json"], fen))["card"]
    assert "not kept: own blur 152 / 305 um" in card["limits_note"]
    assert card["rows"][0][2] == "150 m"


def test_a_way_between_across_and_towards(fen: Path) -> None:
    """In frame centre only the part across counts; in the corner what comes nearer runs outwards as well."""
    speeds = [
        answer(run(["budget", "--json", "--direction", way], fen))["verdict"]["bodies"][0]["blur_m"]
        for way in ("across", "60 deg")
    ]
    assert speeds[1] == pytest.approx(speeds[0] / 2, rel=1e-6)
    corner, towards = (
        answer(run([*words, "--json", "--corner"], fen))["verdict"]["bodies"][0]["blur_m"]
        for words in (["budget", "--direction", "89.9999 deg"], ["budget", "--towards"])
    )
    assert corner == pytest.approx(towards, rel=1e-4)
    assert "--direction" in run(["limits", "--direction", "sideways"], fen).err


def test_the_corner_adds_the_sweeps(fen: Path) -> None:
    turned = changed(fen, "turned", ('= "towards the scene"', '= "towards the photographer"'))
    centre = answer(run(["limits", "--rig", turned, "--json"], fen))
    corner = answer(run(["limits", "--rig", turned, "--json", "--corner"], fen))
    assert centre["skew_s"] == pytest.approx(SKEW_90_S, rel=1e-4)
    # Against each other: half of both travels and a little for their shapes, and one tail of the spread.
    assert corner["skew_s"] > 0.0070 + 1.2815 * SPREAD_S
    assert corner["skew_s"] == pytest.approx(corner["basis"]["sweep_corner_s"] + 1.2815 * SPREAD_S, rel=1e-3)


def test_without_a_calibration_it_says_so_and_what_to_do(bare: Path) -> None:
    for command in ("limits", "budget", "card"):
        ran = run([command], bare)
        assert ran.code == 2
        assert "no calibration of 1/60+1/30" in ran.err
        assert "coincide calibrate" in ran.err
        assert not ran.out
    ran = run(["limits", "--jitter", "1 ms"], bare)
    assert ran.code == 1
    assert "given by hand" in ran.out
    assert f"{1.644854:.2f} ms in frame centre" in ran.out


def test_a_calibration_of_another_pair_is_named(fen: Path) -> None:
    other = changed(fen, "other", ('exposure = "1/60"', 'exposure = "1/125"'))
    ran = run(["limits", "--rig", other], fen)
    assert ran.code == 2
    assert "no calibration of 1/125+1/30" in ran.err
    assert "there is one of 1/60+1/30" in ran.err


def test_a_calibration_that_no_longer_holds_is_doubted(fen: Path) -> None:
    later = changed(fen, "later", ('lead = "300 ms"', 'lead = "500 ms"'))
    ran = run(["budget", "--rig", later], fen)
    assert "Doubtful: release.lead was '0.3 s'" in ran.out
    asked = ["card", "--rig", later, "--to", "later"]
    assert "changed since" in answer(run([*asked, "--json"], fen))["card"]["warning"]
    card = run(asked, fen)
    assert card.code == 1
    first = card.out.splitlines()[1]
    assert first.startswith("Do not use it as it is. The rig was changed since: calibrate again.")
    assert "coincide calibrate --rig later.toml" in card.out


def test_pictures_are_written(fen: Path) -> None:
    ran = run(["limits", "--to", "plan", "--distance", "200 m"], fen)
    assert ran.code == 0
    for name in ("limits.png", "skew-map.png"):
        assert (fen / "plan" / name).read_bytes().startswith(b"\x89PNG")
        assert f"Wrote plan/{name}" in ran.out.replace("\\", "/")


# ---- budget ------------------------------------------------------------------------------------------


def test_the_budget_by_hand(fen: Path) -> None:
    ran = run(["budget"], fen)
    assert ran.code == 1  # 7.8 ms of unequal exposure is more than this rig allows
    # The scale says 15 m from the film; the lens stands about f nearer.
    distance_m = (15 + math.sqrt(15 * (15 - 4 * LENS_M))) / 2
    film_m_s = LENS_M * distance_m / (distance_m - LENS_M) / 15 * CYCLIST_M_S
    rows = [
        line
        for line in ran.out.splitlines()
        if line.startswith(("unequal  ", "unequal exposure  ", "jitter  ", "offset error  ", "together  "))
    ]
    assert [row.split("  ")[0].strip() for row in rows] == [
        "unequal exposure",
        "jitter",
        "offset error",
        "together",
    ]
    random_s = SKEW_90_S
    for row, seconds in zip(
        rows, (UNEQUAL_S, 1.644854 * JITTER_S, 1.644854 * OFFSET_U_S, UNEQUAL_S + random_s), strict=True
    ):
        on_film = numbers(row.split("um")[0])[-3:] if row.startswith("together") else numbers(row)[:3]
        um = on_film[0] if row.startswith("together") else on_film[1]
        assert um == pytest.approx(film_m_s * seconds * 1e6, rel=0.04), row
    assert "Largest part of the ghost: unequal exposure" in ran.out
    assert "Open Bittern from f/4 to f/2.8" in line_with(ran, "What helps most")
    less = film_m_s * random_s  # a stop more aperture makes both times alike
    assert f"becomes {less * 1e6:.3g} um" in line_with(ran, "What helps most")


def test_scan_pixels_are_micrometres_over_the_pitch(fen: Path) -> None:
    found = answer(run(["budget", "--json", "--turning", "held", "--corner"], fen))
    for term in found["terms"]:
        assert term["scan_pixels"] == pytest.approx(term["on_film_m"] / (25.4e-3 / 4000))
    assert found["terms"] == sorted(found["terms"], key=lambda term: -term["on_film_m"])
    assert {term["cause"] for term in found["terms"]} == {
        "unequal exposure",
        "jitter",
        "offset error",
        "sweep",
        "rig turning",
    }
    documented(found, "budget", basis=True)


def test_a_budget_within_is_fine(fen: Path) -> None:
    found = run(["budget", "--subject-speed", "1 km/h", "--distance", "30 m"], fen)
    assert found.code == 0
    assert "within the 30 um allowed" in found.out
    assert found.out.splitlines()[1].startswith("Kept: ")


# ---- exposure ----------------------------------------------------------------------------------------


def test_one_reading_to_both_bodies(fen: Path) -> None:
    found = answer(run(["exposure", "EV 12", "--aperture", "f/8", "--json"], fen))
    first, second = found["bodies"]
    assert first["metered_s"] == pytest.approx(2**-6 / 0.7)  # f/8 and EV 12: 1/64 s; 70 % comes through
    assert second["metered_s"] == pytest.approx(2**-6 / 4 * 16 / 0.42)  # ISO 400, four stops of filter, 42 %
    assert (first["exposure"], second["exposure"]) == ("1/30", "1/8")
    assert first["error_stops"] == pytest.approx(math.log2(2**-5 / first["metered_s"]))
    assert found["blur_each_end_s"] == pytest.approx((1 / 8 - 1 / 32) / 2)
    assert found["preset"] == "1/30+1/8"
    assert found["calibration"] is None
    documented(found, "exposure")


@pytest.mark.parametrize(
    "words",
    [
        ["1/250 f/8 ISO 400"],
        ["f/8", "1/250", "ISO", "400"],
        ["1/250", "at", "f/8", "at", "ISO", "400"],
        ["12", "EV"],
    ],
)
def test_a_reading_as_people_say_it(fen: Path, words: list[str]) -> None:
    assert answer(run(["exposure", *words, "--json"], fen))["reading"]["ev100"] == pytest.approx(12)


def test_the_preset_of_the_pair_is_named_with_its_delay(fen: Path) -> None:
    ran = run(["exposure", "EV 12.5"], fen)
    assert ran.code == 0
    assert "Set: as the rig stands, Lapwing (A) 1/60 at f/8 and Bittern (B) 1/30 at f/4." in ran.out
    assert (
        "Preset 1/60+1/30 at f/8 and f/4: right from EV 12.1 to 12.7; delay Lapwing (A) by 18.20 ms"
        in ran.out
    )
    missing = run(["exposure", "EV 12"], fen)
    assert "Preset 1/30+1/30: missing." in missing.out
    assert "coincide calibrate" in missing.out


def test_two_stops_then_two_more(fen: Path) -> None:
    quarter = changed(
        fen,
        "quarter",
        ("transmission = 0.55", "transmission = 0.7"),
        ("reflection = 0.42", "reflection = 0.25"),
    )
    ran = run(["exposure", "EV 12", "--rig", quarter], fen)
    assert "open two stops for the glass, then two stops more for the film behind its filter" in ran.out
    assert "the rounding is +0.00 stop" in ran.out
    assert answer(run(["exposure", "EV 12", "--rig", quarter, "--json"], fen))["bodies"][1][
        "stops"
    ] == pytest.approx(-4)


def test_opening_the_slower_body_costs_depth_of_field(fen: Path) -> None:
    ran = run(["exposure", "EV 12", "--aperture", "f/8"], fen)
    line = line_with(ran, "Open Bittern from f/8 to f/4")

    def nearest_m(aperture: float) -> float:
        hyperfocal = LENS_M**2 / (aperture * CONFUSION_M)
        return 1 / (1 / 15 + 1 / hyperfocal)

    stated = [float(near) for near in re.findall(r"([\d.]+) m to infinity", line)]
    assert stated == pytest.approx([nearest_m(8), nearest_m(4)], rel=0.02)


def test_light_that_no_dial_reaches_is_a_no(fen: Path) -> None:
    ran = run(["exposure", "EV 3"], fen)
    assert ran.code == 1
    assert "nearest time on its dial" in ran.out


# ---- what is common ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "named"),
    [
        (["limits", "--subject-speed", "15 furlongs"], "--subject-speed"),
        (["limits", "--subject-speed", "0 km/h"], "--subject-speed"),
        (["limits", "--distance", "10"], "--distance"),
        (["limits", "--distance", "2 cm"], "--distance"),
        (["limits", "--lens", "-50 mm"], "--lens"),
        (["limits", "--keepers", "1"], "--keepers"),
        (["limits", "--keepers", "most"], "--keepers"),
        (["limits", "--turning", "wildly"], "--turning"),
        (["budget", "--jitter", "1 kg"], "--jitter"),
        (["budget", "--jitter", "-1 ms"], "--jitter"),
        (["exposure", "bright"], "bright"),
        (["exposure", "EV 12", "--aperture", "8"], "--aperture"),
        (["exposure", "EV 12", "--aperture-b", "f/64"], "f/64"),
        (["card", "--keepers", "110 %"], "--keepers"),
    ],
)
def test_bad_input_is_one_sentence_that_names_it(fen: Path, words: list[str], named: str) -> None:
    ran = run(words, fen)
    assert ran.code == 2
    assert not ran.out
    assert named in ran.err
    assert len(ran.err.strip().splitlines()) == 1
    assert "Traceback" not in ran.err


@pytest.mark.parametrize(
    "words",
    [["limits", "--turning", "braced"], ["budget", "--turning", "held", "--towards"], ["exposure", "EV 12"]],
)
def test_every_number_leads_to_a_key_of_the_rig_or_a_figure_of_the_calibration(
    fen: Path, words: list[str]
) -> None:
    ran = run([*words, "--explain"], fen)
    chain = ran.out[ran.out.index("Where every number comes from:") :].splitlines()[1:]
    assert len(chain) > 8
    rig = tomllib.loads((fen / "rig.toml").read_text("utf-8"))
    calibration = tomllib.loads(next(fen.glob("rig-calibration-*")).read_text("utf-8"))
    for line in chain:
        source = line[line.rindex("   (") + 4 : -1]
        assert source.startswith(("rig: ", "calibration: ", "computed", "given")), line
        for key in re.findall(r"rig: ([a-z_.0-9]+[a-z0-9])", source):
            table: Any = rig
            for part in key.split("."):
                assert part in table, f"{key} is no key of the rig: {line}"
                table = table[part]
        for key in re.findall(r"calibration: (\w+)", source):
            assert key in calibration, line


def test_rig_show_says_what_the_mounts_do(fen: Path) -> None:
    ran = run(["rig", "show"], fen)
    assert "bottom to top in the scene" in line_with(ran, "exposes")
    assert "left-right" in line_with(ran, "mirrored")
    # Travels of 7.2 and 6.8 ms the same way round: what is left is their difference.
    assert "run together in the scene: 0.4 ms" in ran.out
    assert "Advice" not in ran.out
    turned = changed(fen, "photographer", ('= "towards the scene"', '= "towards the photographer"'))
    ran = run(["rig", "show", "--rig", turned], fen)
    assert "run against each other in the scene: 14.0 ms" in ran.out
    assert (
        "Advice: Mount B with the top plate towards the scene: 14.0 ms across the frame becomes 0.4 ms"
        in ran.out
    )
    found = answer(run(["rig", "show", "--rig", turned, "--json"], fen))
    assert found["bodies"]["a"]["shutter"]["travel_s"] == 0.0072
    page = results_page()
    for key, value in found["geometry"].items():
        assert f"`{key}`" in page, key
        for inner in value if isinstance(value, dict) else ():
            assert f"`{inner}`" in page, inner
