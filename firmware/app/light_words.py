"""What each pattern of the two LEDs means and what is seen of it: for the docs, the card and the tests, never loaded
on a board."""

from .lights import (
    ARMED,
    BLACK_A,
    BLACK_B,
    BLACK_BOTH,
    BOOT,
    DAMAGED,
    DARK,
    FAULT,
    LOG_FULL,
    NO_ANSWER_A,
    NO_ANSWER_B,
    NO_ANSWER_BOTH,
    NOT_MEASURED,
    NOT_WOUND,
    OUT,
    REFUSED,
    STAYS,
    STEPS,
    WITHIN,
)

_WORDS = (
    (WITHIN, "the pair is within tolerance", "blue, one long flash"),
    (OUT, "the pair is out of tolerance", "orange, four quick flashes"),
    (NO_ANSWER_A, "body A did not answer", "orange long, then one short, twice"),
    (NO_ANSWER_B, "body B did not answer", "orange long, then two short, twice"),
    (NO_ANSWER_BOTH, "neither body answered", "orange long, then three short, twice"),
    (BLACK_A, "body A fired and no light was seen: a black frame", "orange, two long, then one short, twice"),
    (BLACK_B, "body B fired and no light was seen: a black frame", "orange, two long, then two short, twice"),
    (BLACK_BOTH, "both fired and no light was seen", "orange, two long, then three short, twice"),
    (NOT_MEASURED, "the pair was fired and not measured", "both together, two short flashes far apart"),
    (DARK, "ready, or off", "dark"),
    (ARMED, "armed by the laptop: the releases may close", "blue, steady"),
    (NOT_WOUND, "not fired: wind both bodies, then press 'wound'", "blue and orange in turn, three times"),
    (REFUSED, "not fired: too soon, or the laptop has the box", "orange, one short flash"),
    (
        FAULT,
        "the interlock is open, or something failed: outputs are open",
        "orange, flickering for two seconds",
    ),
    (
        LOG_FULL,
        "the frame log is full or failed: this frame was fired and not logged",
        "orange, three long flashes",
    ),
    (
        DAMAGED,
        "the stored settings were damaged: the button does not fire until they are stored again",
        "orange long, blue long, twice",
    ),
    (BOOT, "the box has started", "both, half a second"),
)

# Name, what it means, what is seen, steps (blue, orange, milliseconds), whether the last one stays.


def _steps_of(name):
    """(steps, stays) of a pattern: each step (blue, orange, milliseconds)."""
    steps = STEPS[name]
    return (
        tuple([(steps[i] & 1, steps[i] >> 1, 10 * steps[i + 1]) for i in range(0, len(steps), 2)]),
        name in STAYS,
    )


PATTERNS = tuple((name, means, seen) + _steps_of(name) for name, means, seen in _WORDS)
