"""The pin table: the one place where a signal gets its GPIO, direction, polarity and body.

The firmware, the schematics, the docs and `coincide box check` all read this tuple. Rows are
(name, gpio, direction, active, body, purpose); `active` is the electrical level that means
'closed', 'lit' or 'pressed'. The first eleven lie on consecutive GPIOs, in this order, so that
one PIO block samples them together: a channel's number is its row.
"""

OUT = "out"
IN = "in"

PINS = (
    # name, gpio, direction, active level, body, purpose
    ("half_a", 2, OUT, 1, "A", "half-press of body A, through its isolator"),
    ("full_a", 3, OUT, 1, "A", "full-press of body A, through its isolator"),
    ("half_b", 4, OUT, 1, "B", "half-press of body B, through its isolator"),
    ("full_b", 5, OUT, 1, "B", "full-press of body B, through its isolator"),
    ("sync_a", 6, IN, 0, "A", "sync contact of body A"),
    ("sync_b", 7, IN, 0, "B", "sync contact of body B"),
    ("gate_a1", 8, IN, 0, "A", "gate sensor 1 of body A"),
    ("gate_a2", 9, IN, 0, "A", "gate sensor 2 of body A"),
    ("gate_b1", 10, IN, 0, "B", "gate sensor 1 of body B"),
    ("gate_b2", 11, IN, 0, "B", "gate sensor 2 of body B"),
    ("beat", 12, OUT, 1, "", "heartbeat, left open: proves the sampler alive, carries its clock over wraps"),
    ("button_half", 13, IN, 0, "", "the photographer's release button, half-press"),
    ("button_full", 14, IN, 0, "", "the photographer's release button, full-press"),
    ("interlock", 15, IN, 0, "", "interlock: closed to ground = may fire, open = may not"),
    ("led_ok", 16, OUT, 1, "", "status LED, blue: within tolerance"),
    ("led_out", 17, OUT, 1, "", "status LED, orange: out of tolerance"),
    ("lamp_data", 18, OUT, 1, "", "lamp row: serial data of the shift register"),
    ("lamp_clock", 19, OUT, 1, "", "lamp row: shift clock"),
    ("lamp_latch", 20, OUT, 1, "", "lamp row: latch"),
    ("wound", 21, IN, 0, "", "'wound' button or foot switch, for bodies wound by hand"),
    ("preset", 22, IN, 0, "", "button that chooses the stored preset"),
)

# Lamps of the row: as many as the 3.3 V rail can stand when all light by chance at power-on.
LAMPS = 32

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
