"""From ticks to the words the PIO programs take, with every limit. Pure: no chip, no import.

All times are ticks (cycles of the system clock). The programs' own field widths limit once more
whatever comes out of here; see `programs.py`.
"""

from micropython import const

LEAD_COUNT_MOST = (1 << 28) - 1
CLOSURE_COUNT_MOST = (1 << 25) - 1
_CLOSURE_LIMIT_S = const(5)
# `jmp(pin)` and `jmp(x_dec)` with a delay of 0 to 31 cycles.
CLOSURE_LOOP_LEAST = 2
_CLOSURE_LOOP_MOST = const(33)
FIRST_PART_FIXED_CYCLES = const(5)
SECOND_PART_FIXED_CYCLES = const(2)
LAMP_STEP_FIXED_CYCLES = const(1168)
_LAMP_STEP_COUNT_MOST = const((1 << 25) - 1)
_LAMPS_MOST = const(64)

_PINS_NONE = const(0)
PINS_HALF = 1
PINS_FULL = 2
_PINS_BOTH = const(3)


def closure_loop_cycles(tick_hz):
    """Cycles of one closure loop: the shortest that lets 25 bits count the 5 s limit at this clock.

    So the hardware cannot keep a pin closed much beyond the limit, at any clock. Above 221 MHz
    33 cycles (the most the instruction allows) count less than 5 s, and closures are cut there.
    """
    needed = (_CLOSURE_LIMIT_S * tick_hz + CLOSURE_COUNT_MOST) // (CLOSURE_COUNT_MOST + 1)
    return max(CLOSURE_LOOP_LEAST, min(_CLOSURE_LOOP_MOST, needed))


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
    closure = min(closure, _CLOSURE_LIMIT_S * tick_hz)
    return (
        second_part_word(closure, _PINS_BOTH, loop_cycles),
        first_part_word(lead + delay, PINS_HALF),
    )


def pulse_words(pins, closure, tick_hz, loop_cycles):
    """(closure word, lead word) of one output closed once for `closure` ticks, with no first part."""
    closure = min(closure, _CLOSURE_LIMIT_S * tick_hz)
    return second_part_word(closure, pins, loop_cycles), first_part_word(0, _PINS_NONE)


def hold_words(tick_hz, loop_cycles):
    """(closure word, lead word) that hold the half-press alone for as long as the hardware allows.

    The board renews it while the finger is down; a hung board lets go by itself.
    """
    closure = _CLOSURE_LIMIT_S * tick_hz
    return (
        second_part_word(closure, PINS_HALF, loop_cycles),
        first_part_word(2 * LEAD_COUNT_MOST + 1, PINS_HALF),
    )


def lamp_word(lamps, step):
    """FIFO word of one row: `lamps` (1 to 64), each lit for `step` ticks, exact where `step` allows."""
    lamps = max(1, min(lamps, _LAMPS_MOST))
    count = max(0, min(step - LAMP_STEP_FIXED_CYCLES, _LAMP_STEP_COUNT_MOST))
    return lamps | (count << 7)
