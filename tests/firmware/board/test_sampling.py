"""Records to edges: order, horizon, loss, and the 64-bit clock."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.firmware.board.emulator import SAMPLING

WORD = 0xFFFFFFFF
PHASES = (0, 2, 4)


def merger(**keywords: Any) -> Any:
    return SAMPLING.Merger(PHASES, 11, keywords.pop("inversion", 0), **keywords)


def take(merge: Any, machine: int, count: int, pins: int) -> None:
    """One record of one machine."""
    merge.take_all(machine, (count & 0xFFFF, count >> 16, pins, 0), 0)


def emitted(merge: Any, all_in: bool = True) -> list[tuple[int, int, int]]:
    out: list[tuple[int, int, int]] = []
    merge.emit(lambda *edge: out.append(edge), all_in)
    return out


def test_track_counts_loops_records_and_phase() -> None:
    track = SAMPLING.Track(2)
    assert track.tick(WORD) == 2
    assert track.tick(WORD - 10) == 6 * 10 + 12 + 2
    track.skip(3)
    assert track.tick(WORD - 10) == 6 * 10 + 5 * 12 + 2


def test_track_goes_on_past_many_wraps_without_error() -> None:
    track = SAMPLING.Track(0)
    loops = 0
    for n in range(40):
        loops += (1 << 32) - 12345
        assert track.tick((WORD - loops) & WORD) == 6 * loops + 12 * n
    assert 6 * loops > 1 << 37


def test_edge_seen_by_three_machines_is_one_edge_at_the_earliest_tick() -> None:
    merge = merger()
    take(merge, 0, WORD - 17, 8)
    take(merge, 1, WORD - 16, 8)
    take(merge, 2, WORD - 16, 8)
    assert emitted(merge) == [(3, 1, 6 * 16 + 2)]


def test_edges_wait_while_a_machine_may_still_report_an_earlier_one() -> None:
    merge = merger()
    take(merge, 0, WORD - 10, 1)
    take(merge, 0, WORD - 100, 3)
    take(merge, 1, WORD - 10, 1)
    assert emitted(merge, all_in=False) == []
    take(merge, 2, WORD - 9, 1)
    assert emitted(merge, all_in=False) == [(0, 1, 6 * 9 + 4)]
    assert emitted(merge) == [(1, 1, 6 * 100 + 12)]


def test_inversion_makes_one_mean_closed() -> None:
    merge = merger(inversion=0b110000)
    take(merge, 0, WORD, 0b100000)  # channel 4 pulled low: closed; channel 5 idles high
    assert emitted(merge) == [(4, 1, 0)]


def test_levels_known_before_a_new_start_are_not_edges_again() -> None:
    merge = merger(base=5000, levels=0b101)
    take(merge, 0, WORD, 0b111)
    assert emitted(merge) == [(1, 1, 5000)]


def test_losing_records_of_a_machine_keeps_its_ticks_right() -> None:
    merge = merger()
    merge.skip(1, 4)
    take(merge, 1, WORD - 1000, 1)
    assert emitted(merge) == [(0, 1, 6000 + 48 + 2)]


def test_a_machine_that_missed_a_short_pulse_does_no_harm() -> None:
    merge = merger()
    take(merge, 0, WORD - 10, 1)
    take(merge, 0, WORD - 10, 0)  # 12 cycles later
    take(merge, 1, WORD - 300, 2)
    take(merge, 2, WORD - 300, 2)
    take(merge, 0, WORD - 297, 2)
    assert emitted(merge) == [(0, 1, 60), (0, 0, 72), (1, 1, 1802)]


def test_what_a_ring_has_overwritten_is_whole_records_and_one_to_spare() -> None:
    overwritten = SAMPLING.overwritten
    assert [overwritten(w, 0, 16) for w in (0, 14, 15, 16, 17, 18)] == [0, 0, 2, 2, 4, 4]
    assert overwritten(1000, 990, 16) == 0
    assert all(overwritten(w, 0, 4096) % 2 == 0 for w in range(4000, 9000))
    assert all(w - overwritten(w, 0, 4096) <= 4094 for w in range(4000, 9000))


def recorded(changes: list[tuple[int, int]], start_count: int = WORD) -> list[list[int]]:
    """What each machine would report of pins that change at (cycle, pins), by looking as it does: every six cycles, and
    a record in place of two looks. Halves of words."""
    out: list[list[int]] = []
    for phase in PHASES:
        halves: list[int] = []
        known = pins = 0
        cycle, count, at = phase, start_count, 0
        while cycle < changes[-1][0] + 40:
            while at < len(changes) and changes[at][0] <= cycle:
                pins = changes[at][1]
                at += 1
            if pins != known:
                halves += [count & 0xFFFF, count >> 16, pins, 0]
                known = pins
                cycle += 12
            else:
                count = (count - 1) & WORD
                cycle += 6
        out.append(halves)
    return out


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 90), st.integers(0, 7)), min_size=1, max_size=60),
    st.randoms(use_true_random=False),
    st.sampled_from([WORD, 3, 0x10003]),
)
def test_the_quick_way_tells_what_the_careful_one_tells(
    steps: list[tuple[int, int]], chance: Any, start_count: int
) -> None:
    """Edges of any spacing, pulses too short for some of the machines among them, the count wrapping in between, read
    in pieces of any size: the judge is the careful way with everything at hand."""
    cycle = 0
    changes = []
    for after, pins in steps:
        cycle += after
        changes.append((cycle, pins))
    halves = recorded(changes, start_count)

    def fresh() -> Any:
        merge = merger()
        for track in merge._tracks:
            track.last = start_count
        return merge

    careful = fresh()
    for machine in range(3):
        careful.take_all(machine, halves[machine], 0)
    expected = emitted(careful)
    quick = fresh()
    told: list[tuple[int, int, int]] = []

    def keep(*edge: int) -> None:
        told.append((edge[0], edge[1], edge[2]))

    read = [0, 0, 0]
    while any(read[m] < len(halves[m]) for m in range(3)):
        some = [min(len(halves[m]) - read[m], 4 * chance.randint(0, 5)) for m in range(3)]
        together = 0 if quick.waiting else min(some)
        pieces = [halves[m][read[m] : read[m] + (together or some[m])] for m in range(3)]
        if together:
            quick.take_agreed(*pieces, keep, keep)
        else:
            for machine in range(3):
                quick.take_all(machine, pieces[machine], 0)
        read = [read[m] + len(pieces[m]) for m in range(3)]
        for edge in emitted(quick, all(read[m] == len(halves[m]) for m in range(3))):
            keep(*edge)
    assert told == expected


def test_what_a_sink_refuses_is_not_told_again_and_the_rest_is() -> None:
    halves = recorded([(100, 1), (300, 3), (500, 2)])
    merge = merger()
    told: list[tuple[int, int, int]] = []

    def refusing(*edge: int) -> None:
        told.append((edge[0], edge[1], edge[2]))
        if len(told) == 2:
            raise RuntimeError("no")

    with pytest.raises(RuntimeError):
        merge.take_agreed(*halves, refusing, refusing)
    assert [edge[:2] for edge in told + emitted(merge)] == [(0, 1), (1, 1), (0, 0)]
