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
    assert walk("release", True, True, False, 4.9, True).circuit == "contact"
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
        supply = {"reading": first, "firing": second}
        answers = iter(yes)
        while check.step != "done":
            check = check.answer(supply[check.step] if check.wants_volts else next(answers, True))
        if check.blessed:
            assert max(abs(one) for one in check.readings_v) <= min(
                DIRECT_LIMIT_V[kind], FLASH_CIRCUIT_LIMIT_V
            )
            assert check.circuit is not None
        assert check.verdict


def test_answers_of_the_wrong_kind_are_refused() -> None:
    with pytest.raises(BadInput, match="yes or no"):
        TerminalCheck("sync").answer(3.0)
    with pytest.raises(BadInput, match="volts"):
        walk("sync", True, True, False).answer(True)
    with pytest.raises(BadInput, match="over"):
        walk("sync", False).answer(True)
