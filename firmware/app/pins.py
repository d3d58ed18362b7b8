"""The pin table: the one place where a signal gets its GPIO, direction, polarity and body.

The firmware, the schematics, the docs and `coincide box check` all read this tuple. Rows are
(name, gpio, direction, active, body); `active` is the electrical level that means
'closed', 'lit' or 'pressed'; what each is for says `pin_words.py`, which no board loads. The first
eleven lie on consecutive GPIOs, in this order, so that one PIO block samples them together: a channel's
number is its row.
"""

OUT = "out"
IN = "in"

PINS = (
    # name, gpio, direction, active level, body
    ("half_a", 2, OUT, 1, "A"),
    ("full_a", 3, OUT, 1, "A"),
    ("half_b", 4, OUT, 1, "B"),
    ("full_b", 5, OUT, 1, "B"),
    ("sync_a", 6, IN, 0, "A"),
    ("sync_b", 7, IN, 0, "B"),
    ("gate_a1", 8, IN, 0, "A"),
    ("gate_a2", 9, IN, 0, "A"),
    ("gate_b1", 10, IN, 0, "B"),
    ("gate_b2", 11, IN, 0, "B"),
    ("beat", 12, OUT, 1, ""),
    ("button_half", 13, IN, 0, ""),
    ("button_full", 14, IN, 0, ""),
    ("interlock", 15, IN, 0, ""),
    ("led_ok", 16, OUT, 1, ""),
    ("led_out", 17, OUT, 1, ""),
    ("lamp_data", 18, OUT, 1, ""),
    ("lamp_clock", 19, OUT, 1, ""),
    ("lamp_latch", 20, OUT, 1, ""),
    ("wound", 21, IN, 0, ""),
    ("preset", 22, IN, 0, ""),
)

# Lamps of the row: as many as the 3.3 V rail can stand when all light by chance at power-on.
LAMPS = 32

# Inputs that a coupler pulls low: their own collector resistor is their only pull-up.
ISOLATED = ("sync_a", "sync_b")

# What the sampler timestamps, by channel number.
CHANNELS = tuple(row[0] for row in PINS[:11])
FIRST_SAMPLED_GPIO = 2

HALF_A, FULL_A, HALF_B, FULL_B, SYNC_A, SYNC_B, GATE_A1, GATE_A2, GATE_B1, GATE_B2, BEAT = range(11)


def gpio_of(name):
    """GPIO number of a signal. Raises KeyError for a name the table does not have."""
    for row in PINS:
        if row[0] == name:
            return row[1]
    raise KeyError(name)


def active_level_of(name):
    """Electrical level (0 or 1) that means closed, lit or pressed."""
    for row in PINS:
        if row[0] == name:
            return row[3]
    raise KeyError(name)


def sampled_inversion_mask():
    """Bits of the sampled word to flip so that 1 means closed or lit on every channel."""
    mask = 0
    for channel, row in enumerate(PINS[:11]):
        if row[3] == 0:
            mask |= 1 << channel
    return mask
