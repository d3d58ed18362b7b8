"""A hundred pairs through firmware, wire and host in virtual time, against a yardstick of the same run."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from coincide.box.simulated.random_worlds import random_world
from coincide_firmware.app.wire import decode_line, encode
from tests.box.sinks import run

MOST_S = 2.0
LINES = 10_000
MOST_TIMES_THE_LINES = 4.0


def best_of(times: int, work: Callable[[], object]) -> float:
    best = float("inf")
    for _ in range(times):
        begin = time.perf_counter()
        work()
        best = min(best, time.perf_counter() - begin)
    return best


def ten_thousand_lines() -> None:
    """The yardstick: coding and decoding wire lines of a usual length, which no simulator can do without."""
    record = {"ev": 7, "is": "edges", "shot": 3, "base": 123456789, "e": list(range(1000, 1032))}
    for _ in range(LINES):
        decode_line(encode(record)[:-1])


@pytest.mark.benchmark
@pytest.mark.parametrize("world", ["ennerby fen", "plover and dunlin", "random"])
def test_a_hundred_pairs(world: str) -> None:
    spec = random_world(7) if world == "random" else world
    took_s = best_of(3, lambda: run(spec, 100))
    yardstick_s = best_of(3, ten_thousand_lines)
    print(f"{world}: {took_s * 10:.2f} ms a pair, {took_s / yardstick_s:.2f} times {LINES} wire lines")
    assert took_s < MOST_S
    assert took_s < MOST_TIMES_THE_LINES * yardstick_s
