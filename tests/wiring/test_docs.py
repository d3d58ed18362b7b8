"""The building pages hold what the data say: pin table, readings, drawings, commands, part names."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from coincide.bench.check.record import bench_folder, read_record, record_table, record_text, zero_correction
from coincide.bench.check.stages import STAGES
from coincide.cli.wiring import command
from coincide_wiring.cautions import CAUTIONS
from coincide_wiring.check import meter
from coincide_wiring.circuits import pin_table
from coincide_wiring.circuits.packages import package_of
from coincide_wiring.circuits.specs import POWER_BANK
from coincide_wiring.draw.schematics import drawn_sheets
from coincide_wiring.figures.build import figures
from coincide_wiring.netlist import Build, in_use, sheets
from coincide_wiring.parts import extras

DOCS = Path(__file__).parents[2] / "docs"
BUILD = (DOCS / "build-the-box.md").read_text(encoding="utf-8")
WITHOUT = (DOCS / "without-a-box.md").read_text(encoding="utf-8")
FORMATS = (DOCS / "formats.md").read_text(encoding="utf-8")
FAULTS = (DOCS / "wiring-faults.md").read_text(encoding="utf-8")
CAUTIONS_PAGE = (DOCS / "cautions.md").read_text(encoding="utf-8")
PAGES = {"build-the-box.md": BUILD, "wiring-faults.md": FAULTS, "cautions.md": CAUTIONS_PAGE}


def test_the_pin_table_is_the_firmwares() -> None:
    assert pin_table.as_markdown() in BUILD


@pytest.mark.parametrize("stage", ["board", "release", "controls", "lights", "sync", "gate", "solenoid"])
def test_the_readings_are_the_solved_circuits(stage: str) -> None:
    assert meter.as_markdown(stage) in BUILD


@pytest.mark.parametrize("stage", ["release", "lights", "sync", "gate", "solenoid"])
def test_the_page_says_where_a_probe_finds_each_net(stage: str) -> None:
    assert meter.touched_words(stage)
    assert meter.touched_words(stage) in " ".join(BUILD.split())


def test_where_a_probe_finds_a_net_is_where_the_netlist_has_it() -> None:
    netlist = in_use(Build(release=("solenoid", "solenoid")))
    for stage in ("lights", "sync", "gate", "solenoid"):
        for net, ref, pad in meter.touched(stage):
            if ref in [one.ref for one in netlist.parts]:
                assert netlist.part(ref).pins[package_of(netlist.part(ref)).pads[pad]] == net


def test_every_drawing_is_shown() -> None:
    shown = set(re.findall(r"\(\.\./wiring/draw/svg/(\w+)\.svg\)", BUILD + WITHOUT))
    assert shown == {sheet.name for sheet in drawn_sheets()}


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    for target in re.findall(r"\]\(([^)]+)\)", PAGES[page]):
        path, _, anchor = target.partition("#")
        text = (DOCS / path).read_text(encoding="utf-8") if path.endswith(".md") else PAGES[page]
        if path:
            assert (DOCS / path).exists(), target
        if anchor:
            headings = [
                line.lstrip("# ").lower().replace(" ", "-") for line in text.splitlines() if line[:1] == "#"
            ]
            assert anchor in headings, target


@pytest.mark.parametrize("page", PAGES)
def test_every_wiring_command_named_exists(page: str) -> None:
    named = re.findall(r"coincide wiring (\w+)", PAGES[page])
    assert set(named) <= set(command.commands)


@pytest.mark.parametrize("page", PAGES)
def test_every_part_named_exists(page: str) -> None:
    builds = (
        Build(),
        Build(("wetted", "high-voltage"), ("solenoid", "solenoid"), ("transimpedance", "load")),
    )
    refs = {one.ref for build in builds for sheet in sheets(build) for one in sheet.parts}
    stems = {re.sub(r"[AB]\d?$", "", ref) for ref in refs} | refs
    for named in re.findall(r"\b((?:R|C|D|Q|K|U)\d{1,3})\b", PAGES[page]):
        assert named in stems, named


def test_every_fault_asked_for_has_its_branch() -> None:
    headings = re.findall(r"^## (.+)$", FAULTS, flags=re.M)
    for wanted in (
        "No edge seen",
        "Inverted",
        "Double edges",
        "Lag absurd",
        "A and B swapped",
        "Fires on plugging in",
    ):
        assert wanted in headings


def test_cautions_stand_where_the_hand_acts() -> None:
    """Each stage that brings the hand near harm opens with its caution, before its first drawing or command."""
    for stage, words in (
        ("## Stage 7", "Film out"),
        ("## Stage 9", "lethal charge"),
        ("## Stage 10", "No flash on the sync contact"),
        ("## Stage 11", "stroke stop first"),
    ):
        text = BUILD.split(stage, 1)[1]
        first_act = min(at for mark in ("![", "    coincide", "coincide box") if (at := text.find(mark)) >= 0)
        assert -1 < text.find(words) < first_act, stage
    assert BUILD.index("cautions.md") < BUILD.index("## Stage 1")
    assert len(CAUTIONS) > 15


def test_figures_quoted_in_prose_are_the_computed_ones() -> None:
    def most(build: Build, key: str) -> float:
        (found,) = [one for one in figures(build) if one.key == key]
        return found.most

    def least(build: Build, key: str) -> float:
        (found,) = [one for one in figures(build) if one.key == key]
        return found.least

    wetted, high = Build(sync=("wetted", "wetted")), Build(sync=("high-voltage", "high-voltage"))
    assert f"{most(wetted, 'sync_steady_a') * 1e3:.2f} mA through R23" in BUILD
    assert f"{least(wetted, 'sync_pulse_a') * 1e3:.1f} ms or more" in BUILD
    assert most(wetted, "sync_recharge_a") <= 0.75
    assert "0.75 s" in BUILD
    assert f"{most(high, 'sync_wetting_a') * 1e3:.1f} mA by Q21" in BUILD
    assert f"{least(Build(), 'gate_signal_a1'):.2f} V or more" in FAULTS
    assert most(Build(), "release_boot_a") < 0.6


def test_what_powers_the_box_is_told_with_the_computed_currents() -> None:
    found = {one.key: one for one in figures(Build())}

    def span(key: str) -> str:
        return f"{found[key].least * 1e3:.0f} to {found[key].most * 1e3:.0f} mA"

    assert f"| waiting | {span('power_waiting')}" in BUILD
    assert f"| a pair closed, both lights on | {span('power_firing')}" in BUILD
    assert f"| waiting, with the keep-awake plug | {span('power_awake')}" in BUILD
    assert f"lasts {found['power_lasts'].least / 3600:.0f} hours" in BUILD
    assert f"{found['power_plug'].most:.1f} W" in BUILD
    assert f"still get {min(found[key].least for key in ('led_blue', 'led_orange')) * 1e3:.0f} mA" in BUILD
    bank = POWER_BANK
    assert f"below {bank['sleeps_a_min'] * 1e3:.0f} to {bank['sleeps_a_max'] * 1e3:.0f} mA" in BUILD
    assert f"{bank['plug_ohm']:.0f} Ω" in BUILD
    bought = "\n".join(one.name + one.mind for one in extras(Build(), 1))
    assert "Power bank" in bought
    assert span("power_waiting").removesuffix(" mA") in bought
    assert f"Resistor {bank['plug_ohm']:.0f} Ω, 5 %, {bank['plug_power_w']:.0f} W" in bought


def test_the_power_budget_is_the_sum_of_the_parts_own_currents() -> None:
    """By hand: 95 mA of board, four amplifiers of 2 mA and comparators of 1 mA through a linear regulator; a pair adds
    four isolators and two lights. The plug alone keeps a bank awake that wants 100 mA: 4.75 V over 45 ohm are 105."""
    found = {one.key: one for one in figures(Build())}
    assert found["power_waiting"].most == pytest.approx(0.095 + 4 * (0.002 + 0.001))
    assert found["power_waiting"].least == pytest.approx(0.02)
    pair_a = 4 * found["release_led_a"].most + found["led_blue"].most + found["led_orange"].most
    assert found["power_firing"].most == pytest.approx(0.107 + pair_a)
    assert found["power_awake"].least == pytest.approx(4.75 / 45.15 + 0.02)
    assert found["power_waiting"].least < POWER_BANK["sleeps_a_min"]  # so that the plug is needed


def test_the_record_shown_is_one_that_can_be_read_and_holds_today(tmp_path: Path) -> None:
    section = FORMATS.split("## The bench record", 1)[1].split("\n## ", 1)[0]
    (example,) = re.findall(r"```toml\n(.*?)```", section, flags=re.S)
    folder = bench_folder("e660583883241", tmp_path)
    folder.mkdir(parents=True)
    path = folder / "2031-05-04T093000.toml"
    path.write_text(example, encoding="utf-8")
    record = read_record(path)
    assert record.passed
    assert record.zero is not None
    assert record.zero.loop_s[0] == record.zero.loops[0].delay_s
    found = zero_correction("e660583883241", None, tmp_path)
    assert found is not None
    assert found.stale is None
    # Every key is named on the page, and what is written again is the same file.
    assert tomllib.loads(record_text(record)) == tomllib.loads(example)
    named = set(re.findall(r"`(\w+)`", section))
    assert keys_of(record_table(record)) - {"sync", "name", "say", "gate", "release"} <= named


def keys_of(value: object) -> set[str]:
    """Every key of a nest of tables."""
    if isinstance(value, dict):
        return set(value).union(*(keys_of(one) for one in value.values()))
    return set().union(*(keys_of(one) for one in value)) if isinstance(value, list) else set()


def test_each_stage_names_the_test_that_belongs_to_it() -> None:
    """The controls come before the outputs, for no output closes with the interlock open."""
    stages = re.split(r"^## Stage (\d+): ", BUILD, flags=re.M)[1:]
    only = {int(number): re.findall(r"--only (\w+)|--(zero)", text) for number, text in pairs(stages)}
    first = {number: (found[0][0] or found[0][1]) for number, found in only.items() if found}
    assert first == {
        2: "controls",
        3: "outputs",
        4: "lights",
        5: "sync",
        6: "zero",
        7: "gate",
        10: "outputs",
        11: "outputs",
        12: "lamps",
    }
    assert set(first.values()) == set(STAGES)


def pairs(flat: list[str]) -> list[tuple[str, str]]:
    return list(zip(flat[::2], flat[1::2], strict=True))
