"""The skew of a frame, exact to the nanosecond the ticks allow."""

from coincide_firmware.app.pins import FULL_A, FULL_B, GATE_A1, GATE_A2, GATE_B1, GATE_B2, SYNC_A, SYNC_B
from coincide_firmware.app.settings import HOW_GATE, HOW_GATES, HOW_NONE, HOW_SYNC, check_preset
from coincide_firmware.app.shots import Edges
from coincide_firmware.app.verdict import (
    BLACK_A,
    BLACK_B,
    BLACK_BOTH,
    NO_ANSWER_A,
    NO_ANSWER_B,
    NO_ANSWER_BOTH,
    NOT_MEASURED,
    OUT,
    WITHIN,
    read_frame,
)

HZ = 125000000
MS = HZ // 1000
MS_NS = 1000000


def preset(**given):
    values = {"name": "p", "tolerance_ns": MS_NS, "how_a": HOW_SYNC, "how_b": HOW_SYNC}
    values.update(given)
    checked, say = check_preset(values)
    assert checked is not None, say
    return checked


def edges(*rows):
    """Edges from (channel, level, tick) in any order, at a base as large as an hour of ticks."""
    base = 3600 * HZ
    kept = Edges()
    for tick, channel, level in sorted((tick, channel, level) for channel, level, tick in rows):
        kept.keep(channel, level, base + tick)
    return kept


FULLS = ((FULL_A, 1, 0), (FULL_B, 1, 0), (FULL_A, 0, 150 * MS), (FULL_B, 0, 150 * MS))


def pulse(channel, start, width):
    return ((channel, 1, start), (channel, 0, start + width))


def test_skew_is_b_minus_a_in_nanoseconds():
    shot = edges(*FULLS, *pulse(SYNC_A, 40 * MS, 10 * MS), *pulse(SYNC_B, 40 * MS + 12345, 10 * MS))
    frame = read_frame(shot, preset(), HZ)
    assert frame.skew_ns == 12345 * 8
    assert frame.verdict == WITHIN
    assert frame.a.lag_ns == 40 * MS_NS
    assert frame.b.lag_ns == 40 * MS_NS + 12345 * 8


def test_the_tolerance_belongs_to_within():
    for ticks, verdict in ((MS, WITHIN), (-MS, WITHIN), (MS + 1, OUT), (-MS - 1, OUT)):
        shot = edges(*FULLS, *pulse(SYNC_A, 40 * MS, 9 * MS), *pulse(SYNC_B, 40 * MS + ticks, 9 * MS))
        assert read_frame(shot, preset(), HZ).verdict == verdict, ticks


def test_each_bodys_constant_is_added():
    shot = edges(*FULLS, *pulse(SYNC_A, 40 * MS, 10 * MS), *pulse(SYNC_B, 41 * MS, 10 * MS))
    frame = read_frame(shot, preset(to_mid_a_ns=4000003, to_mid_b_ns=-500), HZ)
    assert frame.skew_ns == MS_NS - 500 - 4000003
    assert frame.a.lag_ns == 44 * MS_NS + 3


def test_gate_sensors_give_the_middle_and_the_exposure():
    shot = edges(
        *FULLS,
        *pulse(GATE_A1, 40 * MS, 8 * MS + 1),
        *pulse(GATE_B1, 38 * MS, 4 * MS),
        *pulse(GATE_B2, 46 * MS, 6 * MS),
    )
    frame = read_frame(shot, preset(how_a=HOW_GATE, how_b=HOW_GATES), HZ)
    mid_a = 44 * MS_NS + 4
    mid_b = (40 + 49) * MS_NS // 2
    assert frame.a.lag_ns == mid_a
    assert frame.b.lag_ns == mid_b
    assert frame.skew_ns == mid_b - mid_a
    assert frame.a.exposure_ns == 8 * MS_NS + 8
    assert frame.b.exposure_ns == 5 * MS_NS


def test_one_gate_sensor_of_two_is_no_answer():
    shot = edges(*FULLS, *pulse(GATE_A1, 40 * MS, 8 * MS), *pulse(SYNC_B, 38 * MS, 4 * MS))
    frame = read_frame(shot, preset(how_a=HOW_GATES), HZ)
    assert frame.verdict == NO_ANSWER_A
    assert frame.skew_ns is None
    assert read_frame(edges(*FULLS, *pulse(GATE_A2, 40 * MS, 8 * MS)), preset(), HZ).verdict == NO_ANSWER_BOTH


def test_a_contact_without_light_at_the_gate_is_a_black_frame():
    a, b = pulse(SYNC_A, 40 * MS, 10 * MS), pulse(SYNC_B, 40 * MS, 10 * MS)
    light_a, light_b = pulse(GATE_A1, 36 * MS, 20 * MS), pulse(GATE_B1, 36 * MS, 20 * MS)
    both = preset(how_a=HOW_GATE, how_b=HOW_GATE)
    for shown, verdict in (
        (light_b, BLACK_A),
        (light_a, BLACK_B),
        ((), BLACK_BOTH),
        (light_a + light_b, WITHIN),
    ):
        frame = read_frame(edges(*FULLS, *a, *b, *shown), both, HZ)
        assert frame.verdict == verdict
        assert (frame.skew_ns is None) == (verdict != WITHIN)
    assert read_frame(edges(*FULLS, *b, *light_b), both, HZ).verdict == NO_ANSWER_A
    # A flick of the contact is no exposure.
    assert read_frame(edges(*FULLS, *pulse(SYNC_A, 5, 3), *b, *light_b), both, HZ).verdict == NO_ANSWER_A


def test_bounce_counts_from_the_first_closing():
    bouncing = []
    for start in (0, 2, 5):
        bouncing.extend(pulse(SYNC_A, (40 + start) * MS, MS))
    shot = edges(*FULLS, *bouncing, *pulse(SYNC_B, 40 * MS, 10 * MS))
    frame = read_frame(shot, preset(), HZ)
    assert frame.skew_ns == 0
    assert frame.a.bounces == 2
    assert frame.a.flicks == 0


def test_a_flick_too_early_or_too_short_does_not_count():
    shot = edges(
        *FULLS,
        *pulse(SYNC_A, 5 * MS, 10 * MS),
        *pulse(SYNC_A, 40 * MS, 10 * MS),
        *pulse(SYNC_B, 20 * MS, MS // 10),
        *pulse(SYNC_B, 41 * MS, 10 * MS),
    )
    frame = read_frame(shot, preset(earliest_a_ns=30 * MS_NS, bounce_b_ns=2 * MS_NS), HZ)
    assert frame.skew_ns == MS_NS
    assert frame.a.flicks == 1
    assert frame.b.flicks == 1


def test_a_closing_after_the_window_is_no_answer():
    shot = edges(*FULLS, *pulse(SYNC_A, 40 * MS, 10 * MS), *pulse(SYNC_B, 90 * MS, 10 * MS))
    frame = read_frame(shot, preset(latest_b_ns=80 * MS_NS), HZ)
    assert frame.verdict == NO_ANSWER_B
    assert frame.b.flicks == 1


def test_a_contact_still_closed_at_the_end_counts():
    shot = edges(*FULLS, (SYNC_A, 1, 40 * MS), *pulse(SYNC_B, 40 * MS, 10 * MS))
    assert read_frame(shot, preset(), HZ).verdict == WITHIN


def test_who_did_not_answer():
    a = pulse(SYNC_A, 40 * MS, 10 * MS)
    b = pulse(SYNC_B, 40 * MS, 10 * MS)
    assert read_frame(edges(*FULLS, *b), preset(), HZ).verdict == NO_ANSWER_A
    assert read_frame(edges(*FULLS, *a), preset(), HZ).verdict == NO_ANSWER_B
    assert read_frame(edges(*FULLS), preset(), HZ).verdict == NO_ANSWER_BOTH
    assert read_frame(edges(), preset(), HZ).verdict == NO_ANSWER_BOTH


def test_not_measured_is_never_within():
    a = pulse(SYNC_A, 40 * MS, 10 * MS)
    b = pulse(SYNC_B, 40 * MS, 10 * MS)
    whole = edges(*FULLS, *a, *b)
    assert read_frame(whole, None, HZ).verdict == NOT_MEASURED
    assert read_frame(whole, preset(how_b=HOW_NONE), HZ).verdict == NOT_MEASURED
    assert read_frame(whole, preset(how_a=HOW_NONE, how_b=HOW_NONE), HZ).verdict == NOT_MEASURED
    whole.lost = 1
    assert read_frame(whole, preset(), HZ).verdict == NOT_MEASURED
    # One body without a contact, the other silent: the silent one is named.
    assert read_frame(edges(*FULLS), preset(how_b=HOW_NONE), HZ).verdict == NO_ANSWER_A


def test_delays_of_the_box_are_part_of_the_skew_and_not_of_the_lag():
    fulls = ((FULL_A, 1, 20 * MS), (FULL_B, 1, 0))
    shot = edges(*fulls, *pulse(SYNC_A, 60 * MS, 10 * MS), *pulse(SYNC_B, 61 * MS, 10 * MS))
    frame = read_frame(shot, preset(), HZ)
    assert frame.skew_ns == MS_NS
    assert frame.a.lag_ns == 40 * MS_NS
    assert frame.b.lag_ns == 61 * MS_NS


def test_a_clock_that_is_no_round_number():
    hz = 133333333
    kept = Edges()
    for channel, level, tick in ((FULL_A, 1, 0), (FULL_B, 1, 0), (SYNC_A, 1, 4000000), (SYNC_B, 1, 4000001)):
        kept.keep(channel, level, tick)
    frame = read_frame(kept, preset(), hz)
    assert frame.a.lag_ns == 30000000  # 4e6 ticks are 30000000.075 ns
    assert frame.skew_ns in (7, 8)
