"""The guided meter check never blesses what could hurt, and never takes silence for consent."""

from __future__ import annotations

import math
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coincide.errors import BadInput
from coincide_wiring.check.terminal import (
    DIRECT_LIMIT_V,
    FLASH_CIRCUIT_LIMIT_V,
    KINDS,
    Kind,
    TerminalCheck,
    judge_terminal,
)

ANY_VOLTS = st.floats(allow_nan=False, allow_infinity=True)


@given(ANY_VOLTS, st.sampled_from(KINDS))
def test_nothing_above_the_limit_may_be_joined_directly(reading_v: float, kind: Kind) -> None:
    judged = judge_terminal(reading_v, kind)
    assert judged.direct == (abs(reading_v) <= DIRECT_LIMIT_V[kind])
    if abs(reading_v) > DIRECT_LIMIT_V[kind]:
        assert not judged.blessed
        assert judged.circuit in (None, "high-voltage")
    assert judged.say
    assert judged.then


@given(ANY_VOLTS, st.sampled_from(KINDS))
def test_the_sign_changes_the_polarity_and_nothing_else(reading_v: float, kind: Kind) -> None:
    plus, minus = judge_terminal(abs(reading_v), kind), judge_terminal(-abs(reading_v), kind)
    assert (plus.finding, plus.direct, plus.circuit) == (minus.finding, minus.direct, minus.circuit)
    assert {plus.positive, minus.positive} in ({None}, {"red", "black"})


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("reading_v", [0.0, 0.05, -0.2])
def test_zero_volts_is_no_blessing(reading_v: float, kind: Kind) -> None:
    judged = judge_terminal(reading_v, kind)
    assert not judged.blessed
    assert "no blessing" in judged.say


@pytest.mark.parametrize(
    ("reading_v", "kind", "finding", "circuit"),
    [
        (3.1, "sync", "electronic", "wetted"),
        (-4.8, "sync", "electronic", "wetted"),
        (12.0, "sync", "raised", "high-voltage"),
        (180.0, "sync", "high", "high-voltage"),
        (260.0, "release", "high", None),
        (450.0, "sync", "beyond", None),
        (math.inf, "sync", "beyond", None),
        (5.0, "release", "biased", "contact"),
    ],
)
def test_each_reading_has_its_answer(reading_v: float, kind: Kind, finding: str, circuit: str | None) -> None:
    judged = judge_terminal(reading_v, kind)
    assert (judged.finding, judged.circuit) == (finding, circuit)


def test_an_alternating_voltage_ends_it() -> None:
    judged = judge_terminal(2.0, "sync", alternating=True)
    assert not judged.direct
    assert judged.circuit is None
    assert "licensed" in judged.then


@pytest.mark.parametrize(("reading_v", "kind"), [(math.nan, "sync"), (1.0, "hot shoe")])
def test_nonsense_is_refused_in_words(reading_v: float, kind: Kind) -> None:
    with pytest.raises(BadInput):
        judge_terminal(reading_v, kind)


def walk(kind: Kind, *answers: bool | float) -> TerminalCheck:
    check = TerminalCheck(kind)
    for one in answers:
        if check.step == "done":
            break
        check = check.answer(one)
    return check


def test_a_mechanical_contact_is_blessed_only_after_continuity_both_ways() -> None:
    half_way = walk("sync", True, True, False, 0.0, 0.0, True)
    assert (half_way.step, half_way.blessed) == ("reverse", False)
    done = half_way.answer(True)
    assert (done.step, done.circuit, done.blessed) == ("done", "cell", True)


def test_one_way_conduction_means_a_polarised_output() -> None:
    done = walk("sync", True, True, False, 0.0, 0.0, False, True)
    assert done.circuit == "wetted"
    assert "exchange centre and outer" in done.verdict


def test_voltage_that_only_shows_while_firing_is_caught() -> None:
    done = walk("sync", True, True, False, 0.0, 230.0)
    assert (done.step, done.blessed, done.circuit) == ("done", False, "high-voltage")


def test_a_contact_that_never_closes_proves_nothing() -> None:
    done = walk("sync", True, True, False, 0.0, 0.0, False, False)
    assert (done.blessed, done.circuit) == (False, None)


def test_a_release_is_blessed_when_bridging_it_fires_the_body() -> None:
    assert walk("release", True, True, False, 4.9, True).step == "current"
    assert walk("release", True, True, False, 4.9, True, 4.5).circuit == "contact"
    assert walk("release", True, True, False, 0.0, False).blessed is False
    assert walk("release", True, True, False, 48.0).circuit is None


@pytest.mark.parametrize("kind", KINDS)
def test_flash_and_meter_come_first(kind: Kind) -> None:
    assert walk(kind, False).circuit is None
    assert walk(kind, True, False).circuit is None
    mains = walk(kind, True, True, True)
    assert (mains.step, mains.circuit, mains.blessed) == ("done", None, False)
    assert "licensed" in mains.verdict


@pytest.mark.parametrize("kind", KINDS)
def test_no_walk_at_all_blesses_a_high_reading(kind: Kind) -> None:
    """Every path through the check, over yes/no and telling voltages."""
    volts = (0.0, 3.0, -5.0, 12.0, -40.0, 300.0, 1000.0)
    for first, second, *yes in product(volts, volts, *([(True, False)] * 5)):
        check = TerminalCheck(kind)
        supply = {"reading": first, "firing": second, "current": 5.0}
        answers = iter(yes)
        while check.step != "done":
            check = check.answer(supply[check.step] if check.wants_volts else next(answers, True))
        if check.blessed:
            assert max(abs(one) for one in check.readings_v) <= min(
                DIRECT_LIMIT_V[kind], FLASH_CIRCUIT_LIMIT_V
            )
            assert check.circuit is not None
        assert check.verdict


@pytest.mark.parametrize(
    ("open_v", "through_ma", "joins"),
    # By hand: 4.9 V and 44.5 mA leave 10.1 ohm inside, 485 mA without the 100 ohm; 12 V and 60 mA leave 100 ohm,
    # 120 mA;
    # 24 V and 170 mA leave 41 ohm, 584 mA; 0.1 V tells nothing, so the reading itself counts.
    [(4.9, 4.5, True), (4.9, 44.5, False), (12.0, 60.0, True), (24.0, 170.0, False), (0.1, 160.0, False)],
)
def test_a_release_that_carries_too_much_is_refused(open_v: float, through_ma: float, joins: bool) -> None:
    surely = [True] if open_v > DIRECT_LIMIT_V["sync"] else []
    done = walk("release", True, True, False, open_v, *surely, True, through_ma)
    assert (done.circuit, done.blessed) == (("contact", True) if joins else (None, False))
    assert joins or "mA" in done.verdict


@pytest.mark.parametrize(("volts", "way"), [(4.9, "centre positive"), (-4.9, "outer positive")])
def test_a_live_output_is_asked_for_its_voltage_and_not_for_an_ohmmeter(volts: float, way: str) -> None:
    half_way = walk("sync", True, True, False, volts, volts)
    assert half_way.step == "drops"
    assert "slow speed" in half_way.question
    done = half_way.answer(True)
    assert (done.circuit, done.blessed) == ("wetted", True)
    assert way in done.verdict
    assert half_way.answer(False).circuit is None


def test_between_six_and_24_volts_a_semiconductor_gets_no_circuit() -> None:
    mechanical = walk("sync", True, True, False, 12.0)
    assert mechanical.step == "mechanical"
    assert mechanical.answer(True).circuit == "high-voltage"
    assert mechanical.answer(False).circuit is None
    assert not mechanical.answer(True).blessed


@pytest.mark.parametrize("volts", [6.1, 7.2, -7.0, 8.4])
def test_what_the_high_voltage_circuit_would_read_closed_for_ever_gets_none(volts: float) -> None:
    judged = judge_terminal(volts, "sync")
    assert (judged.circuit, judged.direct) == (None, False)
    assert "for ever" in judged.say


def test_the_slow_speed_is_named_before_anything_fires() -> None:
    assert "slow speed" in walk("sync", True, True, False, 0.0).question


def test_answers_of_the_wrong_kind_are_refused() -> None:
    with pytest.raises(BadInput, match="yes or no"):
        TerminalCheck("sync").answer(3.0)
    with pytest.raises(BadInput, match="volts"):
        walk("sync", True, True, False).answer(True)
    with pytest.raises(BadInput, match="over"):
        walk("sync", False).answer(True)


@given(ANY_VOLTS)
def test_the_same_volts_are_of_one_family_whichever_terminal_was_named(reading_v: float) -> None:
    """What a sync terminal is refused for is not blessed by naming it a release."""
    sync, release = judge_terminal(reading_v, "sync"), judge_terminal(reading_v, "release")
    live = {"electronic": "biased"}
    assert live.get(sync.finding, sync.finding) == release.finding
    assert not release.blessed or sync.direct


def test_a_release_above_what_a_flash_contact_may_carry_is_asked_about() -> None:
    assert walk("release", True, True, False, 12.0).step == "surely"
    refused = walk("release", True, True, False, 12.0, False)
    assert (refused.step, refused.circuit, refused.blessed) == ("done", None, False)
    assert walk("release", True, True, False, 12.0, True, True, 4.5).blessed
