"""A lamp on the mains is told of at the bench, before it has spoilt a series."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace
from typing import cast

import pytest

from coincide.bench.check.inputs import check_sensors
from coincide.bench.check.record import Item
from coincide.bench.check.talk import BenchTalk, Edge
from coincide_firmware.app.pins import GATE_A1

HZ = 125_000_000


def lit(hz: float, times: int, dark: float) -> list[Edge]:
    """Light that goes out `times` times, `dark` of each period."""
    edges: list[Edge] = []
    for turn in range(times):
        edges += [
            (GATE_A1, 1, int(turn / hz * HZ)),
            (GATE_A1, 0, int((turn + 1 - dark) / hz * HZ)),
        ]
    return edges


def checked(edges: list[Edge]) -> Item:
    """What the bench test says of gate_a1 when these edges came."""

    @contextmanager
    def watching() -> Iterator[None]:
        yield

    talk = SimpleNamespace(
        client=SimpleNamespace(identity=SimpleNamespace(tick_hz=HZ)),
        watching=watching,
        collect=lambda kind, timeout_s: edges,
    )
    (item,) = check_sensors(cast(BenchTalk, talk), lambda _: True, lambda _: None, ("gate_a1",), 1.0)
    return item


@pytest.mark.parametrize("hz", [100.0, 120.0])
def test_a_lamp_on_the_mains_fails(hz: float) -> None:
    item = checked(lit(hz, 60, 0.4))
    assert item.passed is False
    assert f"{hz:.0f} Hz" in item.say
    assert "direct current" in item.say


@pytest.mark.parametrize(("hz", "times"), [(1.0, 1), (2.0, 4), (100.0, 3), (37.0, 30)])
def test_a_hand_before_a_steady_lamp_passes(hz: float, times: int) -> None:
    assert checked(lit(hz, times, 0.5)).passed is True
