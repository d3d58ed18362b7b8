"""From ticks to the words the PIO programs take, with every limit. Pure: no chip, no import.

All times are ticks (cycles of the system clock). The programs' own field widths limit once more
whatever comes out of here; see `programs.py`.
"""

LEAD_COUNT_MOST = (1 << 28) - 1
CLOSURE_COUNT_MOST = (1 << 25) - 1
CLOSURE_LIMIT_S = 5
FIRST_PART_FIXED_CYCLES = 5
SECOND_PART_FIXED_CYCLES = 2
LAMP_STEP_FIXED_CYCLES = 1168
LAMP_STEP_COUNT_MOST = (1 << 25) - 1
LAMPS_MOST = 64

PINS_NONE = 0
PINS_HALF = 1
PINS_FULL = 2
PINS_BOTH = 3


def closure_loop_cycles(tick_hz):
    """Cycles of one closure loop: the shortest that lets 25 bits count the 5 s limit at this clock.

    So the hardware cannot keep a pin closed much beyond the limit, at any clock. Above 221 MHz
    33 cycles (the most the instruction allows) count less than 5 s, and closures are cut there.
    """
    needed = (CLOSURE_LIMIT_S * tick_hz + CLOSURE_COUNT_MOST) // (CLOSURE_COUNT_MOST + 1)
    return max(2, min(33, needed))


def first_part_word(ticks, pins):
    """Lead word: `pins` closed for `ticks` + 5 cycles. Exact to one cycle; cut at 28 bits of double cycles.

    The five cycles are the same for both bodies, so the offset between two full-presses is exact.
    """
    ticks = max(0, min(ticks, 2 * LEAD_COUNT_MOST + 1))
    return (ticks & 1) | ((ticks >> 1) << 1) | (pins << 29)


def second_part_word(ticks, pins, loop_cycles):
    """Closure word: `pins` closed for `ticks`, to the nearest closure loop, at least one."""
    count = (ticks - SECOND_PART_FIXED_CYCLES + loop_cycles // 2) // loop_cycles - 1
    count = max(0, min(count, CLOSURE_COUNT_MOST))
    return pins | (count << 2)


def pair_words(delay, lead, closure, tick_hz, loop_cycles):
    """(closure word, lead word) of one body: half now, full at lead + delay, both open `closure` later.

    Nothing above 5 s of closure leaves this function, whatever was asked.
    """
    closure = min(closure, CLOSURE_LIMIT_S * tick_hz)
    return (
        second_part_word(closure, PINS_BOTH, loop_cycles),
        first_part_word(lead + delay, PINS_HALF),
    )


def pulse_words(pins, closure, tick_hz, loop_cycles):
    """(closure word, lead word) of one output closed once for `closure` ticks, with no first part."""
    closure = min(closure, CLOSURE_LIMIT_S * tick_hz)
    return second_part_word(closure, pins, loop_cycles), first_part_word(0, PINS_NONE)


def hold_words(tick_hz, loop_cycles):
    """(closure word, lead word) that hold the half-press alone for as long as the hardware allows.

    The board renews it while the finger is down; a hung board lets go by itself.
    """
    closure = CLOSURE_LIMIT_S * tick_hz
    return (
        second_part_word(closure, PINS_HALF, loop_cycles),
        first_part_word(2 * LEAD_COUNT_MOST + 1, PINS_HALF),
    )


def lamp_word(lamps, step):
    """FIFO word of one row: `lamps` (1 to 64), each lit for `step` ticks, exact where `step` allows."""
    lamps = max(1, min(lamps, LAMPS_MOST))
    count = max(0, min(step - LAMP_STEP_FIXED_CYCLES, LAMP_STEP_COUNT_MOST))
    return lamps | (count << 7)
