"""What the hardware makes of the words of `board/plans.py`: the other way round, told from the programs' own cycles."""

from tests.firmware.board.loading import Loaded

PLANS = Loaded().use("board.plans")


def first_part_ticks(word: int) -> int:
    """Ticks from a lead word's pins closing to the second part."""
    return int(PLANS.FIRST_PART_FIXED_CYCLES + (word & 1) + 2 * ((word >> 1) & PLANS.LEAD_COUNT_MOST))


def second_part_ticks(word: int, loop_cycles: int) -> int:
    """Ticks for which a closure word's pins are closed."""
    return int(PLANS.SECOND_PART_FIXED_CYCLES + loop_cycles * (((word >> 2) & PLANS.CLOSURE_COUNT_MOST) + 1))


def lamp_step_ticks(word: int) -> int:
    """Ticks from lamp to lamp of a lamp word."""
    return int((word >> 7) + PLANS.LAMP_STEP_FIXED_CYCLES)
