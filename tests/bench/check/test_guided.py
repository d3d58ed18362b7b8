"""The guided bench test on the simulated box: it passes what is right, names what is wrong, times the isolators."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from coincide.bench.check.guided import CAUTIONS_AT, SOLENOID_CAUTIONS, BenchCheck
from coincide.bench.check.hand import SimulatedHand
from coincide.bench.check.inputs import GATE, SYNC
from coincide.bench.check.outputs import PULL_DOWNS
from coincide.bench.check.record import (
    BenchRecord,
    Item,
    ZeroResult,
    bench_folder,
    fitted,
    read_record,
    record_text,
    save_record,
    zero_correction,
)
from coincide.bench.check.talk import OUTPUTS, BenchTalk
from coincide.bench.check.zero import implausible, measure_loops, zero_result
from coincide.bench.person import Question
from coincide.box.cable.client import BoxClient
from coincide.box.simulated.port import SimulatedPort, open_simulated
from coincide.box.simulated.worlds import world_spec
from coincide.errors import BadInput, BoxFailed
from coincide_firmware.app.pins import LAMPS, PINS
from coincide_wiring.cautions import CAUTIONS
from coincide_wiring.circuits import body as circuits_body
from coincide_wiring.circuits import sensors as circuits_sensors
from coincide_wiring.circuits.model import Sheet
from coincide_wiring.circuits.sensors import sync
from coincide_wiring.netlist import Build, digest, in_use, loop_digests

AT = datetime(2031, 5, 4, 9, 30, tzinfo=UTC)


ALL = (
    "interlock",
    "button_half",
    "button_full",
    "preset",
    "wound",
    "led_ok",
    "led_out",
    "pull_downs",
    *OUTPUTS,
    *SYNC,
    *GATE,
    "lamp_row",
    "loopback",
)


class Person:
    """Does what is asked and says yes, save where a word of the question is one it says no to, or a signal one
    it leaves alone."""

    def __init__(self, port: SimulatedPort, instead: dict[str, tuple[str, ...]] | None = None) -> None:
        self.world = port.world
        self.hand = SimulatedHand(port.world, instead)
        self.refuses: tuple[str, ...] = ()
        self.idle: tuple[str, ...] = ()
        self.told: list[str] = []
        self.asked: list[Question] = []

    def __call__(self, question: Question) -> bool:
        self.asked.append(question)
        if any(word in question.text for word in self.refuses):
            return False
        return question.signal in self.idle or self.hand(question)


def bench(
    world: str = "loopback both", instead: dict[str, tuple[str, ...]] | None = None
) -> tuple[BenchCheck, Person, SimulatedPort]:
    port = open_simulated(world, seed=4)
    person = Person(port, instead)
    return BenchCheck(BoxClient(port), person, person.told.append, timeout_s=3.0), person, port


def outcome(items: Iterable[Item]) -> dict[str, bool | None]:
    return {one.name: one.passed for one in items}


def item(check: BenchCheck, stage: str, name: str) -> Item:
    (found,) = [one for one in check.stage(stage) if one.name == name]
    return found


def test_a_sound_box_passes_and_leaves_its_outputs_open_and_disarmed() -> None:
    check, person, port = bench()
    check.run()
    record = check.record(AT)
    assert record.passed, [one for one in record.items if not one.passed]
    assert outcome(record.items) == dict.fromkeys(ALL, True)
    assert record.box_uid.startswith("sim-00000004-")
    assert record.wiring_digest == digest(Build())
    status = BoxClient(port).status()
    assert (status.outputs, status.armed_ms, status.watching) == (0, 0, False)
    assert person.told
    # Pressing the box's own buttons fired nothing.
    assert port.truth == ()


def test_a_wetted_circuit_is_charged_again_before_every_pulse() -> None:
    """Five time constants of R23 and C21, both at the upper end, leave 0.7 %."""
    sheet = sync("A", "wetted")
    feed, store = sheet.part("R23A"), sheet.part("C21A")
    tau_s = feed.value("resistance_ohm") * (1 + feed.value("tolerance"))
    tau_s *= store.value("capacitance_f") * (1 + store.value("tolerance"))
    check, _, port = bench()
    check.build = Build(sync=("cell", "wetted"))
    before_s = port.now_s()
    (found,) = check.stage("zero")
    assert found.passed
    assert port.now_s() - before_s >= 4 * 5 * 5 * tau_s


def test_every_row_of_the_pin_table_is_tested_or_is_the_heartbeat() -> None:
    tested = {"lamp_data", "lamp_clock", "lamp_latch"} | (set(ALL) - {"lamp_row", "loopback", "pull_downs"})
    assert tested | {"beat"} == {row[0] for row in PINS}


def test_cautions_are_told_before_the_hand_acts() -> None:
    for build, more in ((Build(), ()), (Build(release=("contact", "solenoid")), SOLENOID_CAUTIONS)):
        for stage, keys in CAUTIONS_AT.items():
            check, person, _ = bench()
            check.build = build
            person.refuses = ("?",)
            check.run([stage])
            said = {one.key for one in CAUTIONS if any(one.say in told for told in person.told)}
            assert said == {*keys, *(more if stage == "outputs" else ())}
            assert {*keys, *SOLENOID_CAUTIONS} <= {one.key for one in CAUTIONS}


def test_stages_may_be_run_alone_and_only_in_their_order() -> None:
    check, person, _ = bench()
    check.run(["zero", "outputs"])
    assert [one.kind for one in check.items] == ["output"] * 5 + ["zero"]
    assert check.zero is not None
    assert not any("Interlock" in one.text for one in person.asked)


def test_a_missing_pull_down_ends_the_outputs_before_anything_is_clicked() -> None:
    check, person, port = bench("resistor forgotten")
    (found,) = check.stage("outputs")
    assert found.passed is False
    assert "full_b" in found.say
    assert "R14B" in found.say
    assert not any("Meter" in one.text for one in person.asked)
    assert BoxClient(port).status().outputs == 0


@pytest.mark.parametrize("stage", ["outputs", "sync"])
def test_a_flash_left_in_the_shoe_is_asked_about_before_a_lead_is_used(stage: str) -> None:
    check, person, port = bench()
    person.refuses = ("in the shoe",)
    (found,) = check.stage(stage)
    assert found.passed is None
    assert "take the flash off" in found.say
    assert len(person.asked) == 1
    assert port.world.interlock_closed


def test_pull_downs_are_left_out_where_the_interlock_stays_closed() -> None:
    check, person, _ = bench("resistor forgotten")
    person.refuses = ("Open the interlock",)
    assert check.stage("outputs")[0].passed is None


def test_the_pull_downs_named_are_those_of_the_netlist() -> None:
    netlist = in_use(Build())
    for signal, ref in PULL_DOWNS.items():
        assert set(netlist.part(ref).pins.values()) == {signal, "GND"}


def test_the_zero_check_finds_the_delays_the_box_was_made_with() -> None:
    """Injected: isolators 420 and 450 us, inputs 3 and 4 us; found within twice the stated uncertainty."""
    port = open_simulated("loopback both", seed=4)
    box = port.world.spec.box
    found, zero = measure_loops(BenchTalk(BoxClient(port)), pulses=10)
    assert found.passed
    assert zero is not None
    assert abs(zero.skew_s - (box.input_on_s[1] - box.input_on_s[0])) <= 2 * zero.u_skew_s + 8e-9
    for side in (0, 1):
        true_s = box.isolator_s[side] + box.input_on_s[side]
        assert abs(zero.loop_s[side] - true_s) <= 2 * zero.u_loop_s[side] + 8e-9
    assert 0 < zero.u_skew_s < 50e-9
    assert len(zero.loops) == 8


@pytest.mark.parametrize(
    ("loop_s", "skew_s", "sync", "words"),
    [
        ((400e-6, 5e-3), 1e-6, ("cell", "cell"), "loop of body B takes 5000 µs"),
        ((10e-6, 400e-6), 1e-6, ("cell", "cell"), "loop of body A takes 10 µs"),
        ((400e-6, 450e-6), -60e-6, ("cell", "wetted"), "60 µs apart"),
        ((400e-6, 450e-6), 150e-6, ("high-voltage", "cell"), ""),
        ((400e-6, 450e-6), 250e-6, ("high-voltage", "cell"), "250 µs apart"),
        ((420e-6, 450e-6), 1e-6, ("cell", "cell"), ""),
    ],
)
def test_a_zero_check_that_no_sound_box_gives_is_not_kept(
    loop_s: tuple[float, float], skew_s: float, sync: tuple[str, str], words: str
) -> None:
    said = implausible(ZeroResult((), skew_s, 1e-9, loop_s, (1e-9, 1e-9)), sync)
    assert words in said
    assert bool(words) == bool(said)


def test_a_plug_that_joins_only_its_own_side_is_named() -> None:
    check, _, _ = bench("loopback")
    found = item(check, "zero", "loopback")
    assert (found.passed, check.zero) == (False, None)
    assert "half_a did not reach sync_b" in found.say


def test_no_plug_at_all_is_named_and_a_plug_left_out_is_no_failure() -> None:
    check, person, _ = bench("steady")
    found = item(check, "zero", "loopback")
    assert found.passed is False
    assert "sync_a and sync_b" in found.say
    person.refuses = ("loopback",)
    assert item(check, "zero", "loopback").passed is None


@pytest.mark.parametrize(
    ("stage", "instead", "name", "words"),
    [
        ("sync", {"sync_a": ("sync_b",)}, "sync_a", "sync_b answered instead of sync_a"),
        ("gate", {"gate_b1": ("gate_b2",)}, "gate_b1", "swapped"),
        ("gate", {"gate_a1": ("gate_a1", "gate_a2")}, "gate_a1", "gate_a2 answered together with gate_a1"),
        ("controls", {"preset": ("button_half",)}, "preset", "button_half answered instead of preset"),
        ("controls", {"button_half": ("button_full",)}, "button_half", "button_full answered instead of"),
        (
            "controls",
            {"button_half": ("button_half", "preset")},
            "button_half",
            "preset answered together with",
        ),
        ("controls", {"button_full": ("button_half",)}, "button_full", "Only half-press was seen"),
    ],
)
def test_leads_that_are_wrong_are_named(
    stage: str, instead: dict[str, tuple[str, ...]], name: str, words: str
) -> None:
    check, _, _ = bench("steady", instead)
    found = item(check, stage, name)
    assert found.passed is False
    assert words in found.say


def test_a_button_of_two_stages_passes_though_half_press_closes_on_the_way() -> None:
    check, _, _ = bench("steady", {"button_full": ("button_half", "button_full")})
    assert outcome(check.stage("controls"))["button_full"] is True


def test_a_button_that_rests_closed_is_named_and_spoils_no_other() -> None:
    check, person, port = bench("steady")
    port.world.set_input("button_half", True)
    person.idle = ("button_half",)
    found = {one.name: one for one in check.stage("controls")}
    assert outcome(found.values()) == {
        "interlock": True,
        "button_half": False,
        "button_full": True,
        "preset": True,
        "wound": True,
    }
    assert "open at rest" in found["button_half"].say


def test_a_normally_closed_button_is_named() -> None:
    check, _, port = bench("steady")
    press = port.world.set_input
    port.world.set_input = lambda name, closed: press(name, not closed)  # type: ignore[method-assign]
    found = item(check, "controls", "button_half")
    assert found.passed is False
    assert "rests closed" in found.say


def test_silence_is_named_and_a_refused_item_is_left_out_not_failed() -> None:
    check, person, _ = bench("steady")
    person.idle = ("sync_a", "preset", "wound")
    person.refuses = ("sync_b", "button_", "Interlock")
    found = (*check.stage("sync"), *check.stage("controls"))
    assert outcome(found) == {
        "sync_a": False,
        "sync_b": None,
        "interlock": None,
        "button_half": None,
        "button_full": None,
        "preset": False,
        "wound": False,
    }
    assert all("nothing seen" in one.say or "no edge seen" in one.say for one in found if one.passed is False)


def test_an_interlock_that_is_stuck_closed_fails() -> None:
    check, person, _ = bench("steady")
    person.idle = ("open",)
    found = item(check, "controls", "interlock")
    assert found.passed is False
    assert "reads closed" in found.say


def test_lights_are_really_shown_one_at_a_time() -> None:
    check, _, port = bench("steady")
    seen: dict[str, set[tuple[int, int]]] = {"blue": set(), "orange": set()}
    original = type(port.world).__setattr__

    class Watched(type(port.world)):  # type: ignore[misc]
        def __setattr__(self, name: str, value: object) -> None:
            if name == "lights" and value != (0, 0):
                seen["blue" if self.interlock_closed else "orange"].add(value)  # type: ignore[arg-type]
            original(self, name, value)

    port.world.__class__ = Watched
    assert outcome(check.stage("lights")) == {"led_ok": True, "led_out": True}
    BoxClient(port).status()
    assert seen["blue"] == {(1, 0)}
    assert seen["orange"] == {(0, 1)}


def test_a_light_nobody_saw_fails_and_one_whose_switch_was_not_thrown_is_left_out() -> None:
    check, person, _ = bench("steady")
    person.refuses = ("Did the blue", "Did it flicker")
    assert outcome(check.stage("lights")) == {"led_ok": False, "led_out": None}
    person.refuses = ("Did the blue",)
    assert outcome(check.stage("lights")) == {"led_ok": False, "led_out": True}


def test_the_lamp_row_is_run_from_end_to_end() -> None:
    check, person, port = bench("steady")
    assert item(check, "lamps", "lamp_row").passed
    (run,) = port.world.lamp_runs
    assert (run.lamps, run.rows) == (LAMPS, 1)
    person.refuses = ("Did all",)
    assert item(check, "lamps", "lamp_row").passed is False
    person.refuses = ("fitted",)
    assert item(check, "lamps", "lamp_row").passed is None


def test_a_person_who_saw_nothing_fails_the_output() -> None:
    check, person, _ = bench()
    person.refuses = ("Did socket A, half",)
    found = check.stage("outputs")
    assert outcome(found) == {
        "pull_downs": True,
        "half_a": False,
        "full_a": True,
        "half_b": True,
        "full_b": True,
    }
    assert "wiring-faults" in found[1].say


def test_an_open_interlock_is_asked_for_and_stops_it_in_words_with_outputs_open() -> None:
    check, person, port = bench()
    port.world.open_interlock(math.inf)
    check.run(["outputs"])
    assert all(one.passed for one in check.items)
    port.world.open_interlock(math.inf)
    person.idle = ("close",)
    with pytest.raises(BoxFailed, match="nterlock"):
        check.run(["outputs"])
    assert BoxClient(port).status().outputs == 0


def test_what_was_found_before_a_stage_stopped_is_kept() -> None:
    check, person, _ = bench()
    person.idle = ("close",)
    with pytest.raises(BoxFailed, match="nterlock"):
        check.run()
    assert outcome(check.items)["interlock"] is False
    assert outcome(check.record(AT).items)["preset"] is True


def test_an_output_that_drags_another_along_is_named() -> None:
    check, _, port = bench()
    drive = port.world.sampler.drive

    def shorted(channel: int, tick: int, closes: bool) -> None:
        drive(channel, tick, closes)
        if channel == 1:
            drive(3, tick, closes)

    port.world.sampler.drive = shorted  # type: ignore[method-assign]
    found = item(check, "outputs", "full_a")
    assert found.passed is False
    assert "full_b moved too" in found.say


@pytest.mark.parametrize("stage", ["outputs", "lights", "zero"])
def test_a_real_box_needs_the_cautions_acknowledged(tmp_path: Path, stage: str) -> None:
    port = open_simulated("loopback both", seed=1)
    client = BoxClient(port)
    client.identity = replace(client.identity, simulated=False)
    check = BenchCheck(client, lambda question: True, lambda said: None, config=tmp_path)
    with pytest.raises(BadInput, match="acknowledge"):
        check.run([stage])
    assert client.status().outputs == 0


def record(zero: bool = True, at: datetime = AT, build: Build | None = None) -> BenchRecord:
    made = Build() if build is None else build
    rng = np.random.default_rng(1)
    delays = 450e-6 + rng.normal(0, 1e-8, (4, 5, 2)) + np.array([0.0, 1e-6])
    return BenchRecord(
        at.isoformat(timespec="seconds"),
        "e660583883241",
        "1",
        digest(made),
        made,
        (
            Item("full_a", "output", True, "closes"),
            Item("sync_a", "input", False, 'no edge "seen"'),
            Item("x", "zero", None, ""),
        ),
        zero_result(delays, 125_000_000) if zero else None,
        loop_digests(made),
    )


@pytest.mark.parametrize("zero", [True, False])
def test_a_record_survives_its_file(tmp_path: Path, zero: bool) -> None:
    written = record(zero)
    assert replace(read_record(save_record(written, tmp_path)), made_at=written.made_at) == written


def test_records_are_never_overwritten(tmp_path: Path) -> None:
    paths = [save_record(record(), tmp_path) for _ in range(12)]
    assert len(set(paths)) == 12
    found = zero_correction(record().box_uid, None, tmp_path)
    assert found is not None
    assert found.path == paths[-1]


def test_the_newest_zero_check_counts_and_lapses_with_the_wiring(tmp_path: Path) -> None:
    assert zero_correction("e660583883241", None, tmp_path) is None
    save_record(record(at=AT), tmp_path)
    save_record(record(at=AT.replace(year=2032)), tmp_path)
    save_record(record(zero=False, at=AT.replace(year=2033)), tmp_path)
    found = zero_correction("e660583883241", Build(), tmp_path)
    assert found is not None
    assert (found.made_at[:4], found.stale) == ("2032", None)
    rewired = zero_correction("e660583883241", Build(sync=("wetted", "cell")), tmp_path)
    assert rewired is not None
    assert rewired.stale is not None
    assert "body A had the 'cell' sync circuit then and has 'wetted' now" in rewired.stale
    sockets = zero_correction(
        "e660583883241", Build(release=("solenoid", "contact"), gate=("load", "transimpedance")), tmp_path
    )
    assert sockets is not None
    assert sockets.stale is None  # neither is in the loop the pulses pass


def test_what_was_last_said_of_the_circuits_is_how_the_box_is_built(tmp_path: Path) -> None:
    assert fitted("e660583883241", tmp_path) is None
    save_record(record(at=AT), tmp_path)
    wetted = Build(sync=("cell", "wetted"))
    save_record(record(zero=False, at=AT.replace(year=2032), build=wetted), tmp_path)
    found = fitted("e660583883241", tmp_path)
    assert found is not None
    assert (found.build, found.made_at[:4]) == (wetted, "2032")
    zero = zero_correction("e660583883241", None, tmp_path)
    assert zero is not None
    assert zero.stale is not None
    assert "2031-05-04 is out of date: body B had the 'cell'" in zero.stale
    save_record(record(at=AT.replace(year=2033), build=wetted), tmp_path)
    renewed = zero_correction("e660583883241", None, tmp_path)
    assert renewed is not None
    assert renewed.stale is None


def test_a_sync_circuit_that_this_version_draws_otherwise_makes_a_zero_check_stale(tmp_path: Path) -> None:
    path = save_record(record(), tmp_path)
    path.write_text(path.read_text().replace(loop_digests(Build())["sync_b"], "0" * 16))
    found = zero_correction("e660583883241", None, tmp_path)
    assert found is not None
    assert found.stale is not None
    assert "this version's sync circuit of body B is not what it was made with" in found.stale


def test_a_change_of_any_other_circuit_leaves_a_zero_check_as_it_is(tmp_path: Path) -> None:
    """Gate sensors, lights, lamp row, board and solenoid driver change the build's digest and delay no pulse."""
    path = save_record(record(), tmp_path)
    path.write_text(path.read_text().replace(digest(Build()), "0" * 16))
    found = zero_correction("e660583883241", None, tmp_path)
    assert found is not None
    assert found.stale is None


def test_a_record_without_digests_of_its_circuits_goes_by_the_whole_builds(tmp_path: Path) -> None:
    earlier = replace(record(), circuits={})
    assert zero_correction(earlier.box_uid, None, save_record(earlier, tmp_path).parents[1]) is not None
    path = save_record(earlier, tmp_path)
    path.write_text(path.read_text().replace(digest(Build()), "0" * 16))
    found = zero_correction(earlier.box_uid, None, tmp_path)
    assert found is not None
    assert found.stale is not None


@pytest.mark.parametrize(
    ("name", "value"),
    [("R12A", 470.0), ("R14B", 5600.0), ("R21A", 560.0), ("R22B", 47e3)],
)
def test_each_value_in_the_loop_changes_its_own_digest_and_no_other(
    name: str, value: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = loop_digests(Build())

    def changed(make: Callable[..., Sheet]) -> Callable[..., Sheet]:
        def made(*given: str) -> Sheet:
            sheet = make(*given)
            parts = (one.revalued("resistance_ohm", value) if one.ref == name else one for one in sheet.parts)
            return replace(sheet, parts=tuple(parts))

        return made

    monkeypatch.setattr(circuits_body, "release", changed(circuits_body.release))
    monkeypatch.setattr(circuits_sensors, "sync", changed(circuits_sensors.sync))
    after = loop_digests(Build())
    kind = "release" if name.startswith("R1") else "sync"
    assert {one for one in before if before[one] != after[one]} == {f"{kind}_{name[-1].lower()}"}


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: "",
        lambda text: "not toml [",
        lambda text: text.replace("coincide-bench", "something"),
        lambda text: text.replace("version = 1", "version = 9"),
        lambda text: text.replace('"cell"', '"laser"'),
        lambda text: text.replace("skew_s", "askew_s"),
    ],
)
def test_a_spoiled_record_is_refused_by_name_and_passed_over(
    tmp_path: Path, spoil: Callable[[str], str]
) -> None:
    folder = bench_folder("e660583883241", tmp_path)
    folder.mkdir(parents=True)
    path = folder / "2031-05-04T093000.toml"
    path.write_text(spoil(record_text(record())), encoding="utf-8")
    with pytest.raises(BadInput, match="2031-05-04"):
        read_record(path)
    assert zero_correction("e660583883241", None, tmp_path) is None


def test_the_stated_uncertainty_covers_the_truth_over_many_checks() -> None:
    """Scatter of 0.2 us on each pulse: the interval of two standard uncertainties holds about 95 % of the time."""
    rng = np.random.default_rng(11)
    held = 0
    for _ in range(400):
        delays = 450e-6 + rng.normal(0, 0.2e-6, (4, 5, 2)) + np.array([0.0, 1e-6])
        zero = zero_result(delays, 125_000_000)
        held += abs(zero.skew_s - 1e-6) <= 2 * zero.u_skew_s
    assert 0.90 <= held / 400 <= 0.99


def test_the_named_world_is_the_plug_the_schematic_shows() -> None:
    spec = world_spec("loopback both")
    assert spec.loopback
    assert spec.loopback_both
