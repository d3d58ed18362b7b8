"""The sampler program in the published emulator: every claim about edge times, to the cycle."""

import random
from itertools import pairwise

import pytest

from tests.firmware.board.emulator import (
    ALL_ONES,
    CHANNELS,
    PROGRAMS,
    SAMPLING,
    sampled_edges,
    sampler_words,
)

LOOP = SAMPLING.LOOP_CYCLES
RECORD = SAMPLING.RECORD_CYCLES
BLIND = RECORD  # two edges this far apart are timed independently of each other


def step(channel: int, at: int, level: int = 1) -> int:
    return 0 if level else 1 << channel


def test_loop_is_six_cycles_and_a_change_costs_exactly_two_loops() -> None:
    looks: list[int] = []
    sampler_words(0, lambda clock: 1 << 4 if clock >= 100 else 0, 300, looks=looks)
    gaps = [b - a for a, b in pairwise(looks)]
    assert set(gaps) == {LOOP, RECORD}
    assert gaps.count(RECORD) == 1


def test_three_machines_look_every_second_cycle_and_never_slip() -> None:
    looks: list[int] = []
    for machine in range(3):
        own: list[int] = []
        sampler_words(machine, lambda clock: clock // 50 & 1, 2000, looks=own)
        assert {look % LOOP for look in own} == {PROGRAMS.PHASES[machine]}
        looks += own
    assert PROGRAMS.PHASES == (0, 2, 4)


@pytest.mark.parametrize("channel", range(CHANNELS))
@pytest.mark.parametrize("rising", [True, False])
def test_every_channel_within_one_cycle_at_every_phase_of_the_loop(channel: int, rising: bool) -> None:
    bit = 1 << channel
    others = (1 << CHANNELS) - 1 & ~bit & 0b10110101101
    before, after = (others, others | bit) if rising else (others | bit, others)
    errors = []
    for at in range(60, 60 + LOOP):
        edges = sampled_edges(
            lambda clock, at=at: after if clock >= at else before,  # type: ignore[misc]
            120,
            start=before,
        )
        assert [(c, level) for c, level, _ in edges] == [(channel, int(rising))]
        errors.append(edges[0][2] - at)
    # Levels change between two cycles, so an error of 0 or 1 cycle is a span of 2 cycles: 16 ns at 125 MHz.
    assert sorted(set(errors)) == [0, 1]


def test_pins_beside_the_eleven_are_not_seen() -> None:
    assert sampled_edges(lambda clock: (clock // 40 & 1) * 0xFFFFF800, 400) == []


@pytest.mark.parametrize("at", range(60, 66))
def test_simultaneous_edges_share_one_tick(at: int) -> None:
    edges = sampled_edges(lambda clock: 0b10000011010 if clock >= at else 0, 120)
    assert [edge[0] for edge in edges] == [1, 3, 4, 10]
    assert len({edge[2] for edge in edges}) == 1


@pytest.mark.parametrize("apart", range(BLIND, 3 * BLIND))
def test_edges_twelve_cycles_apart_are_timed_independently(apart: int) -> None:
    for at in range(60, 66):
        edges = sampled_edges(
            lambda clock, at=at: (1 if clock >= at else 0) | (2 if clock >= at + apart else 0),  # type: ignore[misc]
            200,
        )
        (_, _, first), (_, _, second) = edges
        assert first - at in (0, 1)
        assert second - (at + apart) in (0, 1)


@pytest.mark.parametrize("apart", range(1, BLIND))
def test_edges_nearer_than_that_are_kept_in_order_and_late_by_at_most_the_blind_time(apart: int) -> None:
    for at in range(60, 66):
        edges = sampled_edges(
            lambda clock, at=at: (1 if clock >= at else 0) | (2 if clock >= at + apart else 0),  # type: ignore[misc]
            200,
        )
        (a, _, first), (b, _, second) = edges
        assert (a, b) == (0, 1)
        assert first - at in (0, 1)
        assert 0 <= second - (at + apart) <= 8
        assert second >= first


@pytest.mark.parametrize("width", [1, 2, 3, 5, 8, 11, 12, 13, 30])
def test_shortest_pulse(width: int) -> None:
    seen = 0
    for at in range(60, 66):
        edges = sampled_edges(
            lambda clock, at=at: 1 if at <= clock < at + width else 0,  # type: ignore[misc]
            200,
        )
        if not edges:
            continue
        seen += 1
        (_, up, start), (_, down, end) = edges
        assert (up, down) == (1, 0)
        assert start - at in (0, 1)
        if width >= BLIND:
            assert end - (at + width) in (0, 1)
        else:
            # Too short to be measured: its start is right, its end is not before the blind time is over.
            assert end - start <= BLIND
    # 2 cycles (16 ns) are always seen, one cycle half of the time.
    assert seen == (6 if width >= 2 else 3)


def test_loop_count_wraps_without_a_trace() -> None:
    ticks: dict[int, list[int]] = {30: [], 400: []}
    for machine in range(3):
        words = sampler_words(machine, lambda clock: int(30 <= clock < 400), 500, isr=20)
        track = SAMPLING.Track(PROGRAMS.PHASES[machine])
        assert words[0] < 20 < words[2]  # the count has gone through zero between the two records
        ticks[30].append(track.tick(words[0]))
        ticks[400].append(track.tick(words[2]))
    begun = (ALL_ONES - 20) * LOOP  # the loops that a count of 20 stands for
    for at, looks in ticks.items():
        assert min(looks) - begun - at in (0, 1)
        assert max(looks) - min(looks) == 4


def test_a_full_fifo_drops_records_and_the_clock_does_not_stop() -> None:
    def levels(clock: int) -> int:
        return clock // 40 & 1

    free: list[int] = []
    full: list[int] = []
    taken = sampler_words(1, levels, 2000, looks=free)
    left = sampler_words(1, levels, 2000, drained=False, looks=full)
    assert full == free
    assert left == taken[: len(left)]
    assert len(left) == 4 < len(taken)


def test_random_edges_come_out_in_order_and_true() -> None:
    chance = random.Random(7)
    at = 20
    truth = []
    level = 0
    while at < 4000:
        at += chance.randrange(BLIND, 60)
        channel = chance.randrange(CHANNELS)
        level ^= 1 << channel
        truth.append((at, channel, level >> channel & 1, level))

    def levels(clock: int) -> int:
        now = 0
        for when, _, _, bits in truth:
            if when > clock:
                break
            now = bits
        return now

    edges = sampled_edges(levels, 4100)
    assert [(c, up) for c, up, _ in edges] == [(c, up) for _, c, up, _ in truth]
    assert {tick - when for (_, _, tick), (when, _, _, _) in zip(edges, truth, strict=True)} <= {0, 1}


def test_first_record_is_a_snapshot_of_the_pins() -> None:
    words = sampler_words(0, lambda clock: 0b11111110000, 60)
    assert words == [ALL_ONES, 0b11111110000]
